"""Readings of closed contacts against the distance on the unit: one figure a sheet, for drift.

Which contacts are closed, the chart says.  A sheet gives the middle of its closed contacts for the trend, and
its worst one for the level at which a unit is worth replacing.
"""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from statistics import median
from typing import Any

from registry.models import CurrentChart, Design, Reading, SheetVersion
from registry.selectors.unit_groups import CHUNK, unit_groups
from registry.selectors.unit_lives import UnitLife

# readings whose pins or positions are not as written tell nothing of a place
READ_RIGHT = frozenset({"fits", "slip", "faulty_unit", ""})
MOST_SHEETS = 2_000


@dataclass(frozen=True)
class SheetContacts:
    """One sheet: its switch, km on it, middle and worst closed contact in Ω, and whether above the limit."""

    unit: str
    km: float
    middle: float
    middle_over: bool
    worst: float
    worst_over: bool
    suspect: bool


def sheet_contacts(design: Design, versions: list[SheetVersion]) -> list[SheetContacts]:
    """Of sheets with a distance that were read right, in the order of distance."""
    closed = _closed_places(design)
    used = [v for v in versions if v.distance_km is not None and _finding(v) in READ_RIGHT][-MOST_SHEETS:]
    if not closed or not used:
        return []
    groups = unit_groups(version.sheet.unit_id for version in used)
    figures = _figures([version.pk for version in used], closed)
    found = []
    for version in used:
        rows = figures.get(version.pk)
        if rows:
            middle = median(ohm for ohm, _over in rows)
            worst, worst_over = max(rows)
            found.append(
                SheetContacts(
                    unit=groups.get(version.sheet.unit_id, str(version.sheet.unit.uuid)),
                    km=float(version.distance_km or 0.0),
                    middle=middle,
                    middle_over=any(over and ohm <= middle for ohm, over in rows),
                    worst=worst,
                    worst_over=worst_over,
                    suspect=version.purpose == SheetVersion.Purpose.SUSPECT,
                )
            )
    return sorted(found, key=lambda one: (one.km, one.unit))


def failed_soon(
    contacts: list[SheetContacts], lives: list[UnitLife], within_km: float
) -> list[tuple[float, bool]]:
    """(worst contact, failed within the next distance) of the last reading of each switch that tells."""
    by_unit = {life.unit: life for life in lives}
    last: dict[str, tuple[float, bool]] = {}
    for one in contacts:  # ascending distance: the last one stays
        life = by_unit.get(one.unit)
        if life is None:
            continue
        soon = one.km + within_km
        if life.failed is not None and one.km < life.failed <= soon:
            last[one.unit] = (one.worst, True)
        elif life.good is not None and life.good >= soon:
            last[one.unit] = (one.worst, False)
    return list(last.values())


def _closed_places(design: Design) -> set[tuple[str, bool, frozenset[str]]]:
    current = CurrentChart.objects.filter(design=design, revision__state="published").first()
    if current is None:
        return set()
    content = json.loads(bytes(current.revision.content))
    cells = [cell for variant in content["variants"][:1] for cell in variant["cells"]]
    return {
        (cell["position"], bool(cell.get("between")), frozenset((cell["pin"], cell["against"])))
        for cell in cells
        if cell["state"] == "closed" and cell["standing"] in ("agreed", "provisional")
    }


def _figures(versions: list[int], closed: set[Any]) -> dict[int, list[tuple[float, bool]]]:
    """version → (Ω with the leads subtracted, above the limit) of each closed place that has a figure."""
    found: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    kinds = Reading.Kind
    for start in range(0, len(versions), CHUNK):
        rows = Reading.objects.filter(
            version__in=versions[start : start + CHUNK],
            first_pass=True,
            kind__in=[kinds.VALUE, kinds.RANGE, kinds.OVER_LIMIT],
        ).values_list(
            "version_id",
            "place__position__label",
            "place__between",
            "place__pin_a__label",
            "place__pin_b__label",
            "kind",
            "high_ohm",
            "limit_ohm",
            "lead_ohm",
        )
        for version, position, between, a, b, kind, high, limit, lead in rows:
            if (position, between, frozenset((a, b))) in closed:
                over = kind == kinds.OVER_LIMIT
                found[version].append((limit if over else max((high or 0.0) - lead, 0.0), over))
    return found


def _finding(version: SheetVersion) -> str:
    finding = getattr(version.sheet, "finding", None)
    return "" if finding is None else str(finding.finding)
