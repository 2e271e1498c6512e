"""Units of a design over time, as `formats.unit_lives` gathers them from sheets and events."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q

from registry.formats.unit_lives import (
    CLASSES,
    COHORTS,
    FLEET,
    VOLUNTEERS,
    EventSaid,
    SheetSaid,
    UnitLife,
    lives_of,
)
from registry.models import Design, FleetReport, SheetVersion, UnitEvent
from registry.selectors.evidence import counted_designs
from registry.selectors.overlays import Overlays, decisions_in_force
from registry.selectors.unit_groups import unit_groups

__all__ = [
    "CLASSES",
    "COHORTS",
    "FLEET",
    "VOLUNTEERS",
    "UnitLife",
    "life_versions",
    "lives_by_class",
    "unit_lives",
]


def unit_lives(design: Design) -> list[UnitLife]:
    """Every switch of the design of which a distance is known, in the order of their ids."""
    overlays = Overlays(decisions_in_force())
    versions = life_versions(design, overlays)
    events = [
        event
        for event in UnitEvent.objects.filter(
            unit__design__uuid__in=counted_designs(design, overlays), withdrawn_at__isnull=True
        ).select_related("unit__part_number", "contributor")
        if event.contributor.uuid not in overlays.accounts_aside
    ]
    whole = fleet_workshops()
    names = {v.sheet.unit_id: str(v.sheet.unit.uuid) for v in versions}
    names |= {event.unit_id: str(event.unit.uuid) for event in events}
    groups = unit_groups(names)
    return lives_of(
        (_sheet_said(version, groups.get(version.sheet.unit_id, names[version.sheet.unit_id]), whole)
         for version in versions),
        (_event_said(event, groups.get(event.unit_id, names[event.unit_id]), whole) for event in events),
    )  # fmt: skip


def life_versions(design: Design, overlays: Overlays) -> list[SheetVersion]:
    """Current versions of the design's sheets, suspects too, but for those that were set aside."""
    sheets = Q(sheet__design__uuid__in=counted_designs(design, overlays))
    if overlays.moved:
        sheets |= Q(sheet__uuid__in=list(overlays.moved))
    versions = (
        SheetVersion.objects.filter(sheets, is_current=True, sheet__withdrawn_at__isnull=True)
        .select_related("sheet__unit", "sheet__contributor", "sheet__design", "sheet__finding")
        .defer("sheet__finding__body")
        .order_by("sheet_id")
    )
    return [
        version
        for version in versions
        if not overlays.is_aside(version.sheet.uuid, version.sheet.contributor.uuid)
        and overlays.design_of(version.sheet.uuid, version.sheet.design.uuid) == design.uuid
    ]


def fleet_workshops() -> set[int]:
    """Ids of the workshops whose word that they report all of their units is confirmed and in force."""
    reports = FleetReport.objects.filter(confirmed_at__isnull=False, ended_at__isnull=True)
    return set(reports.values_list("workshop_id", flat=True))


def lives_by_class(lives: Iterable[UnitLife]) -> dict[str, list[UnitLife]]:
    found: dict[str, list[UnitLife]] = {}
    for life in lives:
        found.setdefault(life.source_class, []).append(life)
    return {name: found[name] for name in CLASSES if name in found}


def _sheet_said(version: SheetVersion, unit: str, whole: set[int]) -> SheetSaid:
    sheet = version.sheet
    read_on = "" if version.read_on is None else version.read_on.isoformat()
    return SheetSaid(
        unit=unit,
        at=(read_on, sheet.pk, str(sheet.uuid)),
        source_class=version.source_class,
        held_good=version.held_good,
        distance_km=version.distance_km,
        whole_fleet=sheet.contributor.workshop_id in whole,
    )


def _event_said(event: UnitEvent, unit: str, whole: set[int]) -> EventSaid:
    part = event.unit.part_number
    return EventSaid(
        unit=unit,
        kind=event.kind,
        source_class=None if part is None else part.source_class,
        distance_km=event.distance_km,
        entered_km=event.entered_km,
        good_km=event.good_km,
        whole_fleet=event.contributor.workshop_id in whole,
    )
