"""A correction reads a sheet through the mistake that its reader made: rows get other labels, figures stay.

Pure rows → rows, before the engine sees them.  What was typed is not touched: the correction is a record of
a decision over it, so that taking the decision back takes the correction back to the byte.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

StoredRow = tuple[Any, ...]  # registry.selectors.evidence.READING_FIELDS
Spot = tuple[str, bool, str, str]  # position, between, pin_a, pin_b
Relabel = Callable[[Spot], Spot]
SHEET, POSITION, BETWEEN, PIN_A, PIN_B, TURNED, SWEEP = range(7)
KINDS = ("mirrored_pins", "shifted_positions", "exchanged", "wrong_common")


def suggested_correction(finding: Mapping[str, Any]) -> dict[str, Any] | None:
    """The correction that a finding (object of `submissions`) asks for; None where relabelling won't do."""
    params = finding.get("params") or {}
    kind = params.get("mistake")
    if kind not in KINDS:
        return None
    return {
        "kind": kind,
        "detail": params.get("detail", ""),
        "pins": list(params.get("pins") or []),
        "positions": list(params.get("positions") or []),
    }


def is_possible(shape: Mapping[str, Any], correction: Any) -> bool:
    """Whether the correction is one that this design's labels allow."""
    try:
        _rule(shape, correction)
    except (KeyError, TypeError, ValueError):
        return False
    return True


def corrected_rows(
    shape: Mapping[str, Any], entries: Iterable[Mapping[str, Any]], rows: Sequence[StoredRow]
) -> list[StoredRow]:
    """Rows as the decisions in force read them.

    shape: positions, pins, common of the design; entries: sheets of the frozen inputs, of which "labels"
    (after a move or merge: this design's word for the other's) acts first, then "correction".
    """
    rules: dict[str, list[Relabel]] = {}
    for entry in entries:
        steps: list[Relabel] = []
        if entry.get("labels"):
            steps.append(_renamed(entry["labels"]))
        if entry.get("correction"):
            steps.append(_rule(shape, entry["correction"]))
        if steps:
            rules[entry["sheet"]] = steps
    if not rules:
        return list(rows)
    taken: dict[str, set[tuple[Any, ...]]] = defaultdict(set)
    result = []
    for row in rows:
        for relabel in rules.get(row[SHEET], ()):
            row = _with(row, relabel((row[POSITION], row[BETWEEN], row[PIN_A], row[PIN_B])))
        if row[SHEET] in rules:
            row = _read_again(row, taken[row[SHEET]])
        result.append(row)
    return result


def _with(row: StoredRow, spot: Spot) -> StoredRow:
    return (row[SHEET], *spot, *row[TURNED:])


def _read_again(row: StoredRow, taken: set[tuple[Any, ...]]) -> StoredRow:
    """A place that is now there twice was read twice: the later one gets the next free sweep."""
    spot = (row[POSITION], row[BETWEEN], *sorted((row[PIN_A], row[PIN_B])))
    sweep = row[SWEEP]
    while (*spot, sweep) in taken:
        sweep += 1
    taken.add((*spot, sweep))
    return (*row[:SWEEP], sweep, *row[SWEEP + 1 :])


def _renamed(labels: Mapping[str, Any]) -> Relabel:
    positions, pins = dict(labels.get("positions", {})), dict(labels.get("pins", {}))

    def relabel(spot: Spot) -> Spot:
        position, between, a, b = spot
        return positions.get(position, position), between, pins.get(a, a), pins.get(b, b)

    return relabel


def _rule(shape: Mapping[str, Any], correction: Mapping[str, Any]) -> Relabel:
    kind, detail = correction["kind"], correction.get("detail", "")
    pins, positions = list(correction.get("pins", [])), list(correction.get("positions", []))
    lines = [pin for pin in shape["pins"] if pin != shape["common"]]
    if kind == "mirrored_pins" and detail == "lines":
        return _renamed({"pins": dict(zip(lines, reversed(lines), strict=True))})
    if kind == "mirrored_pins":
        return _renamed({"pins": dict(zip(shape["pins"], reversed(shape["pins"]), strict=True))})
    if kind == "shifted_positions" and detail in ("out", "back"):
        return _shifted(shape["positions"], 1 if detail == "out" else -1)
    if kind == "exchanged" and detail == "pins":
        first, second = _both(pins, shape["pins"])
        return _renamed({"pins": {first: second, second: first}})
    if kind == "exchanged" and detail == "positions":
        first, second = _both(positions, shape["positions"])
        return _exchanged_positions(first, second)
    if kind == "wrong_common" and shape["common"] is not None:
        (line,) = pins
        if line not in lines:
            raise ValueError(line)
        return _stayed_on(line, shape["common"])
    raise ValueError(kind)


def _both(named: list[str], known: Sequence[str]) -> tuple[str, str]:
    first, second = named
    if first == second or first not in known or second not in known:
        raise ValueError(named)
    return first, second


def _shifted(positions: Sequence[str], step: int) -> Relabel:
    """The lever stood one detent further (back) than written; it stops at the end of travel."""
    at = {label: n for n, label in enumerate(positions)}

    def relabel(spot: Spot) -> Spot:
        position, between, a, b = spot
        if position not in at:
            return spot
        last = len(positions) - 1 - between
        return positions[min(max(at[position] + step, 0), last)], between, a, b

    return relabel


def _exchanged_positions(first: str, second: str) -> Relabel:
    swap = {first: second, second: first}

    def relabel(spot: Spot) -> Spot:
        position, between, a, b = spot
        return (position if between else swap.get(position, position)), between, a, b

    return relabel


def _stayed_on(line: str, common: str) -> Relabel:
    """One lead stayed on a line: what was written against the common was read against that line."""

    def relabel(spot: Spot) -> Spot:
        position, between, a, b = spot
        if a == common and b != line:
            a = line
        elif b == common and a != line:
            b = line
        return position, between, a, b

    return relabel
