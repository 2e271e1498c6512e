"""Another registry that is only an answer to each address."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from registry.formats.package_part import NOT_IN_PARTS
from registry.formats.package_tables import TABLES
from registry.services.mirrors.fetching import Fetched, Fetcher

URL, FEED = "http://elsewhere.example/", "api/v1/changes/"


class Elsewhere(Fetcher):
    """answers: content of each path; silent_at: paths that never answer."""

    def __init__(self, answers: dict[str, bytes], url: str = URL) -> None:
        super().__init__(url, sleep=lambda seconds: None)
        self.answers = answers
        self.asked: list[str] = []
        self.silent_at: set[str] = set()

    def get(self, path: str, *, etag: str = "") -> Fetched:
        self.asked.append(path)
        if path.split("?")[0] in self.silent_at:
            raise self.silent("HTTP 502")
        content = self.answers.get(path.split("?")[0])
        if content is None:
            return Fetched(404, "", b"")
        if path.startswith(FEED):
            return Fetched(200, "", json.dumps(_page(json.loads(content), path)).encode())
        own = f'"{hashlib.sha256(content).hexdigest()}"'
        return Fetched(304, own, b"") if etag == own else Fetched(200, own, content)


def _page(page: dict[str, Any], path: str) -> dict[str, Any]:
    """As a registry says it: `last` is never below what was asked for."""
    since = int(path.partition("since=")[2].partition("&")[0])
    return {**page, "last": max(since, page["newest"])}


def part(name: str, uuid: str, **broken) -> bytes:
    design = [uuid, "elsewhere", name, "", [], "proposed", "lever", "", False, "", "unknown", "1", "", []]
    tables: dict[str, list] = {
        "designs": [design],
        "positions": [[uuid, 1, "P", "park", False, []]],
        "pins": [[uuid, n, str(n), 1, n, False, "", n] for n in (1, 2)],
        **{table.name: [] for table in TABLES[4:] if table.name not in NOT_IN_PARTS},
        **broken,
    }
    lines = {"charts": [], "inputs": [], "snapshots": []}
    plain = {"format": "benchquorum/part/1", "origin": "elsewhere", "design": uuid}
    return json.dumps({**plain, "tables": tables, "lines": lines}).encode()


IDS = [f"00000000-0000-4000-8000-00000000000{n}" for n in (1, 2, 3)]


def registry(**parts: bytes) -> Elsewhere:
    page = {"next": None, "results": [{"design": uuid} for uuid in IDS]}
    changes = {"results": [], "more": False, "newest": 7}
    answers = {"api/v1/designs/": page, FEED: changes}
    return Elsewhere(
        {
            **{path: json.dumps(plain).encode() for path, plain in answers.items()},
            **{f"api/v1/designs/{uuid}/part/": part(f"D{uuid[-1]}", uuid) for uuid in IDS},
            **parts,
        }
    )
