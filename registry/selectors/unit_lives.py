"""Units of a design over time: how far each was known to be good, where it failed, who reports.

Known good: a sheet that holds it good (new, or it worked), or somebody's word.  Failed: somebody's word
alone; a suspect is no failure by itself.  A failure lies between the last good reading and where it was
found; with no good reading since the unit was new it counts as noticed when it happened, and so it does where
somebody says that it was good up to there.  A unit that came used is seen from there on only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Q

from registry.models import Design, FleetReport, SheetVersion, UnitEvent
from registry.models.jobs import UnitEventKind
from registry.selectors.evidence import counted_designs, unit_groups
from registry.selectors.overlays import Overlays, decisions_in_force

FLEET, VOLUNTEERS = "fleet", "volunteers"
COHORTS = (FLEET, VOLUNTEERS)
CLASSES = ("original", "equivalent", "unknown")


@dataclass(frozen=True)
class UnitLife:
    """One switch.  unit: its id, or that of one of the units that are it; km on it, None where not known."""

    unit: str
    source_class: str
    cohort: str
    entered: float
    good: float | None
    failed: float | None

    @property
    def row(self) -> tuple[float, float | None, float | None]:
        return self.entered, self.good, self.failed


@dataclass
class _Known:
    """What is gathered of one switch."""

    classes: list[tuple[int, str]] = field(default_factory=list)  # by sheet, the newest counts
    good: list[float] = field(default_factory=list)
    failed: list[tuple[float, float | None]] = field(default_factory=list)  # where, last good
    entered: float = 0.0
    volunteers: bool = False

    def life(self, unit: str) -> UnitLife | None:
        """None where no distance is known, or what is known can't be true of one switch."""
        good = max(self.good, default=None)
        failed, last_good = min(self.failed, default=(None, None))
        if failed is None and good is None:
            return None
        if failed is not None:
            if failed <= self.entered or (good is not None and good > failed):
                return None
            known = max([km for km in (last_good, *self.good) if km is not None], default=0.0)
            good = known if last_good is not None or known > self.entered else failed
        if good is not None:
            good = max(good, self.entered)
        source_class = max(self.classes, default=(0, "unknown"))[1]
        cohort = VOLUNTEERS if self.volunteers else FLEET
        return UnitLife(unit, source_class, cohort, self.entered, good, failed)


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
    known: dict[str, _Known] = {}
    for version in versions:
        sheet = version.sheet
        unit = known.setdefault(groups.get(sheet.unit_id, names[sheet.unit_id]), _Known())
        unit.classes.append((sheet.pk, version.source_class))
        unit.volunteers |= sheet.contributor.workshop_id not in whole
        _add_sheet(unit, version)
    for event in events:
        unit = known.setdefault(groups.get(event.unit_id, names[event.unit_id]), _Known())
        unit.volunteers |= event.contributor.workshop_id not in whole
        _add_event(unit, event)
    lives = (unit.life(name) for name, unit in sorted(known.items()))
    return [life for life in lives if life is not None]


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


def _add_sheet(unit: _Known, version: SheetVersion) -> None:
    if version.held_good == SheetVersion.HeldGood.NEW:
        unit.good.append(version.distance_km or 0.0)
    elif version.held_good == SheetVersion.HeldGood.WORKED and version.distance_km is not None:
        unit.good.append(version.distance_km)


def _add_event(unit: _Known, event: UnitEvent) -> None:
    part = event.unit.part_number
    if part is not None:
        unit.classes.append((0, part.source_class))  # before any sheet's
    unit.entered = max(unit.entered, event.entered_km)
    if event.good_km is not None:
        unit.good.append(event.good_km)
    if event.distance_km is None:
        return
    if event.kind == UnitEventKind.FAILED:
        unit.failed.append((event.distance_km, event.good_km))
    else:
        unit.good.append(event.distance_km)
