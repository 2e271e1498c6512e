"""A design whose units have lives: fleets that report all, and volunteers; for tests of pages and API."""

from __future__ import annotations

from django.utils import timezone

from registry.models import Design, FleetReport, Sheet, Unit, UnitEvent, User, Workshop
from registry.services.accounts import contributor_of
from registry.services.lives.unit_events import unit_event_tell
from tests.registry.pages.made import made_sheet
from tests.simulation.fleets import make_fleet, volunteers


def made_unit(by: User, design: Design, key: str, source_class: str = "original") -> Unit:
    """A unit whose one sheet says nothing of distance: a summary costs the least."""
    sheet: Sheet = made_sheet(by, design, key, source_class=source_class)
    return sheet.unit


def made_lives(
    by: User,
    design: Design,
    seed: int,
    units: int,
    source_class: str = "original",
    only_volunteers: bool = False,
) -> None:
    """A simulated fleet as events, told by one person; sheets without their readings, to be quick."""
    fleet = make_fleet(seed, units)
    lifetimes = (volunteers(fleet, seed) if only_volunteers else fleet).lifetimes
    own, model = contributor_of(by), made_unit(by, design, f"model {seed} {source_class}", source_class)
    sheet, version = model.sheets.get(), model.sheets.get().versions.get()
    for n in range(len(lifetimes)):
        unit = Unit.objects.create(contributor=own, design=design, key=f"{seed} {source_class} {n}")
        sheet.pk, sheet.uuid, sheet.client_id = None, unit.uuid, unit.uuid
        sheet.unit, sheet.name, sheet._state.adding = unit, unit.key, True
        sheet.save()
        version.pk, version.sheet, version._state.adding = None, sheet, True
        version.save()
        failed = bool(lifetimes.failed[n])
        unit_event_tell(by=by, unit=unit, body=told(lifetimes, n, failed))


def told(lifetimes: object, n: int, failed: bool) -> dict[str, object]:
    low, high, entered = (float(getattr(lifetimes, name)[n]) for name in ("low", "high", "entered"))
    return {
        "kind": "failed" if failed else "good",
        "distance_km": high if failed else low,
        "good_km": low if failed else None,
        "entered_km": entered,
    }


def confirmed_fleet(name: str, units: int = 100) -> FleetReport:
    workshop = Workshop.objects.get(name=name)
    return FleetReport.objects.create(workshop=workshop, units=units, confirmed_at=timezone.now())


def event(by: User, unit: Unit, kind: str, km: float, **more: object) -> UnitEvent:
    return unit_event_tell(by=by, unit=unit, body={"kind": kind, "distance_km": km, **more})
