"""The readings that a chart's frozen inputs name, as the engine takes them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from registry.bridge.charts import Evidence, evidence_readings
from registry.models import Reading

Inputs = dict[str, Any]
Rows = list[tuple[Any, ...]]
CHUNK = 500  # ids a query: SQLite's limit on variables
READING_FIELDS = (
    "version__sheet__uuid",
    "place__position__label",
    "place__between",
    "place__pin_a__label",
    "place__pin_b__label",
    "turned",
    "sweep",
    "kind",
    "low_ohm",
    "high_ohm",
    "limit_ohm",
    "lead_ohm",
)


def inputs_evidence(several: Sequence[Inputs]) -> list[Evidence]:
    """For each of the inputs, what the engine computes from.

    Readings not taken and those changed after the pattern was seen are no evidence.
    """
    by_number: dict[int, set[str]] = defaultdict(set)
    for inputs in several:
        for entry in inputs["sheets"]:
            by_number[entry["version"]].add(entry["sheet"])
    found: dict[tuple[str, int], Rows] = defaultdict(list)
    for number, named in sorted(by_number.items()):
        sheets = sorted(named)
        for start in range(0, len(sheets), CHUNK):
            for row in _readings(number, sheets[start : start + CHUNK]):
                sheet = str(row[0])
                found[sheet, number].append((sheet, *row[1:]))
    for rows in found.values():
        rows.sort(key=lambda row: row[1:7])
    return [
        evidence_readings(
            inputs,
            [row for entry in inputs["sheets"] for row in found.get((entry["sheet"], entry["version"]), ())],
        )
        for inputs in several
    ]


def _readings(number: int, sheets: list[str]) -> Any:
    of_sheets = Reading.objects.filter(version__number=number, version__sheet__uuid__in=sheets)
    taken = of_sheets.filter(first_pass=True).exclude(kind=Reading.Kind.NOT_TAKEN)
    return taken.values_list(*READING_FIELDS)
