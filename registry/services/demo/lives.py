"""The demo's units over time: one workshop reports its whole fleet, another what it happens to see."""

from __future__ import annotations

import csv
from pathlib import Path

from django.utils import timezone

from registry.models import Contributor, Design, FleetReport, PartNumber, Unit, UnitEvent
from registry.models.jobs import UnitEventKind

WHOLE, OCCASIONAL = "Saltpan Depot 3", "Lantern Road 3"  # who tells of original parts, and of the rest
Row = dict[str, str]


def demo_lives(path: Path) -> None:
    """The rows of the file as units and what became of them; a second time adds nothing."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    designs = {design.name: design for design in Design.objects.filter(name__in={r["design"] for r in rows})}
    people = {c.import_name: c for c in Contributor.objects.filter(import_name__in=[WHOLE, OCCASIONAL])}
    if Unit.objects.filter(contributor__in=people.values(), key__in=[row["unit"] for row in rows]).exists():
        return
    parts = {(d.pk, p.source_class): p for d in designs.values() for p in reversed(d.part_numbers.all())}
    units = Unit.objects.bulk_create(
        _unit(row, designs[row["design"]], people[_who(row)], parts) for row in rows
    )
    UnitEvent.objects.bulk_create(_event(unit, row) for unit, row in zip(units, rows, strict=True))
    workshop = people[WHOLE].workshop
    assert workshop is not None
    FleetReport.objects.get_or_create(
        workshop=workshop,
        ended_at=None,
        defaults={"said_by": people[WHOLE], "units": len(rows), "confirmed_at": timezone.now()},
    )


def _who(row: Row) -> str:
    return WHOLE if row["class"] == "original" else OCCASIONAL


def _unit(
    row: Row, design: Design, contributor: Contributor, parts: dict[tuple[int, str], PartNumber]
) -> Unit:
    part = parts.get((design.pk, row["class"]))
    return Unit(contributor=contributor, design=design, key=row["unit"], part_number=part)


def _event(unit: Unit, row: Row) -> UnitEvent:
    good, failed = (float(row[name]) if row[name] else None for name in ("good_km", "failed_km"))
    return UnitEvent(
        unit=unit,
        contributor=unit.contributor,
        kind=UnitEventKind.GOOD if failed is None else UnitEventKind.FAILED,
        distance_km=good if failed is None else failed,
        entered_km=float(row["entered_km"] or 0),
        good_km=None if failed is None else good,
    )
