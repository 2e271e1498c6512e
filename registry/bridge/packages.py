"""Every chart of a package computed anew from what the package says it was computed from.  No database."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from registry.bridge.charts import ENGINE_VERSION, chart_document, evidence_readings
from registry.formats.canonical import canonical, digest_of
from registry.formats.package_files import Package

Plain = dict[str, Any]
StoredRow = tuple[Any, ...]  # registry.selectors.evidence.READING_FIELDS
MOST_PLACES = 50
SAME, DIFFERS, OTHER_ENGINE, HELD_BACK = "same", "differs", "other_engine", "held_back"


@dataclass(frozen=True)
class Verified:
    """verdict: one of the four words above; places: where the chart comes out differently."""

    design: str
    revision: int
    verdict: str
    places: tuple[str, ...] = ()


def verify_package(package: Package, progress: Callable[[int], None] | None = None) -> Iterator[Verified]:
    """One answer for each chart of the package; its files are taken to be what their digests say."""
    readings = _readings(package)
    snapshots = {
        row["snapshot"]: (json.loads(content), row["digest"])
        for row, content in zip(package.rows("snapshots"), package.lines("snapshots"), strict=True)
    }
    lines = zip(package.rows("charts"), package.lines("charts"), package.lines("inputs"), strict=True)
    for done, (row, content, inputs) in enumerate(lines, 1):
        yield _verified(row, content, json.loads(inputs), readings, snapshots)
        if progress is not None:
            progress(done)


def _verified(
    row: Plain,
    content: bytes,
    inputs: Plain,
    readings: dict[tuple[str, int], list[StoredRow]],
    snapshots: dict[int, tuple[Plain, str]],
) -> Verified:
    stored = json.loads(content)
    at = (stored["design"]["name"], row["revision"])
    if hashlib.sha256(content).hexdigest() != row["content_sha256"]:
        return Verified(*at, DIFFERS, ("/content_sha256",))
    if digest_of(inputs) != row["digest"]:
        return Verified(*at, DIFFERS, ("/inputs",))
    if inputs.get("engine") != ENGINE_VERSION:
        return Verified(*at, OTHER_ENGINE)
    if row["held_back"]:
        return Verified(*at, HELD_BACK)
    snapshot, digest = snapshots[row["snapshot"]]
    if digest_of(snapshot) != digest or inputs["snapshot"] != digest:
        return Verified(*at, DIFFERS, ("/snapshot",))
    evidence = evidence_readings(inputs, rows_named(inputs, readings))
    made = chart_document(inputs, evidence, snapshot)
    if canonical(made) == content:
        return Verified(*at, SAME)
    return Verified(*at, DIFFERS, tuple(differences(stored, json.loads(canonical(made)))) or ("/",))


def rows_named(inputs: Plain, readings: dict[tuple[str, int], list[StoredRow]]) -> list[StoredRow]:
    """The readings that the inputs name, in the order of `inputs_evidence`."""
    rows = []
    for entry in inputs["sheets"]:
        found = readings.get((entry["sheet"], entry["version"]), [])
        rows += sorted(found, key=lambda row: row[1:7])
    return rows


def _readings(package: Package) -> dict[tuple[str, int], list[StoredRow]]:
    """By sheet and version; what is no evidence (not taken, second pass) is left out."""
    found: dict[tuple[str, int], list[StoredRow]] = defaultdict(list)
    for row in package.rows("readings"):
        if row["kind"] == "not_taken" or not row["first_pass"]:
            continue
        a, b = (row["against"], row["pin"]) if row["turned"] else (row["pin"], row["against"])
        figures = (row["kind"], row["low_ohm"], row["high_ohm"], row["limit_ohm"], row["lead_ohm"])
        found[row["sheet"], row["version"]].append(
            (row["sheet"], row["position"], row["between"], a, b, row["turned"], row["sweep"], *figures)
        )
    return found


def differences(stored: Any, made: Any, at: str = "") -> list[str]:
    """Where two documents differ: JSON Pointers, and a line for each cell and sheet; at most MOST_PLACES."""
    found: list[str] = []
    if isinstance(stored, dict) and isinstance(made, dict):
        changed = [key for key in sorted(stored.keys() | made.keys()) if stored.get(key) != made.get(key)]
        if {"position", "pin"} <= stored.keys() or "submission" in stored:
            return [f"{at}: {', '.join(_change(key, stored, made) for key in changed)}"] if changed else []
        for key in sorted(changed, key=lambda key: (key != "variants", key)):
            found += differences(stored.get(key), made.get(key), f"{at}/{key}")
    elif isinstance(stored, list) and isinstance(made, list) and len(stored) == len(made):
        for number, (one, other) in enumerate(zip(stored, made, strict=True)):
            found += differences(one, other, f"{at}/{_name(one, number)}")
    elif stored != made:
        found = [f"{at}: {_short(stored)} → {_short(made)}"]
    return found[:MOST_PLACES]


def _change(key: str, stored: Plain, made: Plain) -> str:
    return (
        f"{key} {_short(stored.get(key))} → {_short(made.get(key))}" if key in ("state", "finding") else key
    )


def _name(entry: Any, number: int) -> str:
    """What a reader knows an entry of a list by."""
    if isinstance(entry, dict) and "pin" in entry and "position" in entry:
        return f"{entry['position']}, pin {entry['pin']} against {entry.get('against')}"
    for key in ("submission", "variant"):
        if isinstance(entry, dict) and isinstance(entry.get(key), str):
            return f"{key} {entry[key]}"
    return str(number)


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 40 else text[:37] + "…"
