"""Talking to a registry: designs, charts, checks, sheets.  Retries do nothing twice."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from api.client.errors import RegistryProblem, RegistryUnreachable
from api.client.results import Chart, CheckResult, DesignFound, Submitted

Plain = dict[str, Any]
TRIES = 4
LONGEST_WAIT = 60.0  # seconds; a registry that asks for more is asked no further


@dataclass(frozen=True)
class _Answer:
    status: int
    headers: Any
    body: Any


class Registry:
    """url: of the registry's front page; token: from your own page there, needed to send sheets only."""

    def __init__(self, url: str, token: str | None = None, *, timeout: float = 30.0) -> None:
        if urllib.parse.urlsplit(url).scheme not in ("http", "https"):
            raise ValueError("The registry's address begins with https:// or http://.")
        self._base = url.rstrip("/") + "/api/v1/"
        self._token, self._timeout = token, timeout
        self._charts: dict[str, tuple[str, Chart]] = {}  # design → tag, chart

    def designs(self, **filters: str | int) -> Iterator[DesignFound]:
        """All designs that fit: q, part_number, pins, lines, positions, standing, maker…"""
        address: str | None = "designs/?" + urllib.parse.urlencode(filters)
        while address:
            page = self._ask("GET", address).body
            yield from (DesignFound.of(line) for line in page["results"])
            address = page["next"]

    def chart(self, design: str) -> Chart:
        """The current chart; fetched again only if it has changed."""
        kept = self._charts.get(design)
        answer = self._ask(
            "GET", f"charts/{_quoted(design)}/", headers={"If-None-Match": kept[0]} if kept else {}
        )
        if answer.status == 304 and kept is not None:
            return kept[1]
        chart = Chart.of(answer.body)
        self._charts[design] = (answer.headers.get("ETag", ""), chart)
        return chart

    def revision(self, design: str, number: int) -> Chart:
        """One revision of a design's chart."""
        return Chart.of(self._ask("GET", f"charts/{_quoted(design)}/revisions/{number}/").body)

    def check(self, sheet: Plain) -> CheckResult:
        """A suspect unit against the published chart.  Nothing is stored."""
        return CheckResult.of(self._ask("POST", "check/", body=sheet).body)

    def submit(self, sheet: Plain) -> Submitted:
        """Send a bench sheet.  It gets a client_id if it has none, so that a retry can't double it."""
        body = {"client_id": str(uuid.uuid4()), **sheet}
        answer = self._ask("POST", "submissions/", body=body)
        found = answer.body
        return Submitted(found["submission"], found["version"], answer.status == 200, found)

    def submit_many(self, sheets: list[Plain]) -> list[Submitted | RegistryProblem]:
        """Up to 5 000 sheets; for each the sheet that the registry has, or why it was refused."""
        bodies = [{"client_id": str(uuid.uuid4()), **sheet} for sheet in sheets]
        found = self._ask("POST", "submissions/bulk/", body={"submissions": bodies}).body
        return [
            RegistryProblem(one["problem"])
            if one["problem"] is not None
            else Submitted(one["submission"], 1, one["status"] == 200, one)
            for one in found["results"]
        ]

    def _ask(
        self, method: str, address: str, *, body: Any = None, headers: dict[str, str] | None = None
    ) -> _Answer:
        url = address if address.startswith("http") else self._base + address
        if not url.startswith(self._base):
            raise ValueError("The registry sent an address that is not its own.")
        request = urllib.request.Request(url, method=method, headers=headers or {})  # noqa: S310  checked above
        request.add_header("Accept", "application/json")
        if self._token:
            request.add_header("Authorization", f"Token {self._token}")
        if body is not None:
            request.data = json.dumps(body).encode()
            request.add_header("Content-Type", "application/json")
        for attempt in range(1, TRIES + 1):
            try:
                return self._once(request)
            except urllib.error.HTTPError as error:
                wait = _wait(error, attempt)
                if wait is None:
                    raise _problem(error) from None
            except (urllib.error.URLError, TimeoutError, ConnectionError) as error:
                if attempt == TRIES:
                    why = getattr(error, "reason", None) or error
                    raise RegistryUnreachable(f"{self._base} does not answer: {why}") from None
                wait = 0.5 * 2**attempt
            time.sleep(wait)
        raise AssertionError("unreachable: the last attempt returns or raises")

    def _once(self, request: urllib.request.Request) -> _Answer:
        try:
            with urllib.request.urlopen(request, timeout=self._timeout) as response:  # noqa: S310  # nosec B310
                return _Answer(response.status, response.headers, json.loads(response.read()))
        except urllib.error.HTTPError as error:
            if error.code != 304:
                raise
            return _Answer(304, error.headers, None)


def _wait(error: urllib.error.HTTPError, attempt: int) -> float | None:
    """Seconds before another try; None where there is no use in one."""
    if attempt == TRIES or error.code not in (429, 502, 503, 504):
        return None
    said = error.headers.get("Retry-After", "")
    wait = float(said) if said.isdigit() else 0.5 * 2**attempt
    return wait if wait <= LONGEST_WAIT else None


def _problem(error: urllib.error.HTTPError) -> RegistryProblem:
    try:
        body = json.loads(error.read())
    except ValueError:
        body = {}
    return RegistryProblem({"status": error.code, "detail": error.reason, **body})


def _quoted(word: str) -> str:
    return urllib.parse.quote(word, safe="")
