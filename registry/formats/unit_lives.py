"""How long a switch lasted, gathered from its sheets and from what people say became of it.

Known good: a sheet that holds it good (new, or it worked), or somebody's word.  Failed: somebody's word
alone; a suspect is no failure by itself.  A failure lies between the last good reading and where it was
found; with no good reading since the unit was new it counts as noticed when it happened, and so it does where
somebody says that it was good up to there.  A unit that came used is seen from there on only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

FLEET, VOLUNTEERS = "fleet", "volunteers"
COHORTS = (FLEET, VOLUNTEERS)
CLASSES = ("original", "equivalent", "unknown")
At = tuple[str, int, str]
UNREAD: At = ("", 0, "")  # a part number's class stands before any sheet's


@dataclass(frozen=True)
class SheetSaid:
    """unit: name of the switch; at: (day of the reading or "", place in the order of storing, id), the
    newest counts."""

    unit: str
    at: At
    source_class: str
    held_good: str
    distance_km: float | None
    whole_fleet: bool


@dataclass(frozen=True)
class EventSaid:
    """kind: of a unit's event; source_class: of its part number, where it is known; km on the unit."""

    unit: str
    kind: str
    source_class: str | None
    distance_km: float | None
    entered_km: float
    good_km: float | None
    whole_fleet: bool


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


def lives_of(sheets: Iterable[SheetSaid], events: Iterable[EventSaid]) -> list[UnitLife]:
    """Every switch of which a distance is known, in the order of their ids."""
    known: dict[str, _Known] = {}
    for sheet in sheets:
        known.setdefault(sheet.unit, _Known()).add_sheet(sheet)
    for event in events:
        known.setdefault(event.unit, _Known()).add_event(event)
    lives = (unit.life(name) for name, unit in sorted(known.items()))
    return [life for life in lives if life is not None]


@dataclass
class _Known:
    """What is gathered of one switch."""

    classes: list[tuple[At, str]] = field(default_factory=list)
    good: list[float] = field(default_factory=list)
    failed: list[tuple[float, float | None]] = field(default_factory=list)  # where, last good
    entered: float = 0.0
    volunteers: bool = False

    def add_sheet(self, sheet: SheetSaid) -> None:
        self.classes.append((sheet.at, sheet.source_class))
        self.volunteers |= not sheet.whole_fleet
        if sheet.held_good == "new":
            self.good.append(sheet.distance_km or 0.0)
        elif sheet.held_good == "worked" and sheet.distance_km is not None:
            self.good.append(sheet.distance_km)

    def add_event(self, event: EventSaid) -> None:
        if event.source_class is not None:
            self.classes.append((UNREAD, event.source_class))
        self.volunteers |= not event.whole_fleet
        self.entered = max(self.entered, event.entered_km)
        if event.good_km is not None:
            self.good.append(event.good_km)
        if event.distance_km is None:
            return
        if event.kind == "failed":
            self.failed.append((event.distance_km, event.good_km))
        else:
            self.good.append(event.distance_km)

    def life(self, unit: str) -> UnitLife | None:
        """None where no distance is known, or what is known can't be true of one switch."""
        good = max(self.good, default=None)
        failed, last_good = min(self.failed, key=_earliest, default=(None, None))
        if failed is None and good is None:
            return None
        if failed is not None:
            if failed <= self.entered or (good is not None and good > failed):
                return None
            known = max([km for km in (last_good, *self.good) if km is not None], default=0.0)
            good = known if last_good is not None or known > self.entered else failed
        if good is not None:
            good = max(good, self.entered)
        source_class = max(self.classes, default=(UNREAD, "unknown"))[1]
        cohort = VOLUNTEERS if self.volunteers else FLEET
        return UnitLife(unit, source_class, cohort, self.entered, good, failed)


def _earliest(failed: tuple[float, float | None]) -> tuple[float, float]:
    """Of two words on one failure, the one that says less about when it was still good comes first."""
    where, last_good = failed
    return where, -1.0 if last_good is None else last_good
