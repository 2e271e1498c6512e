"""Which units were read, by whom, and what went wrong with each: the demo's sheets one by one."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fixtures_demo import scenario as s
from tests.simulation.designs import Design
from tests.simulation.sheets import Mistake

FACE, LINES = Mistake("mirrored_pins", "face"), Mistake("mirrored_pins", "lines")
END_TWICE, END_MISSING = (
    Mistake("shifted_positions", "end_twice", 1),
    Mistake("shifted_positions", "end_missing", -1),
)


def stuck(pin: int) -> Mistake:
    """One lead stayed on the pin with this index."""
    return Mistake("wrong_common", at=pin)


@dataclass(frozen=True)
class UnitPlan:
    """One physical switch and everybody who reads it."""

    label: str  # what is the matter with it, for the tests
    by: tuple[str, ...] = ()  # readers; empty: the next one whose turn it is
    mistake: Mistake | None = None  # of the first reader
    fault: str = ""
    variant: int = 0
    table: np.ndarray | None = field(default=None, compare=False)
    missing: float = 0.0  # share of the readings not taken
    source_class: str = "original"
    held_good: str = "worked"
    truly: Design | None = None  # the design that was in the hand, where it is another
    gaps: bool = False  # read between the first two positions too


def good(count: int, **changes: object) -> list[UnitPlan]:
    return [UnitPlan("good", **changes) for _ in range(count)]  # type: ignore[arg-type]


def partial(count: int) -> list[UnitPlan]:
    return [UnitPlan("partial", missing=0.5) for _ in range(count)]


def twice(first: str, second: str, **changes: object) -> UnitPlan:
    return UnitPlan("read twice", by=(first, second), **changes)  # type: ignore[arg-type]


def suspect(fault: str, **changes: object) -> UnitPlan:
    return UnitPlan("suspect", fault=fault, held_good="no", **changes)  # type: ignore[arg-type]


PLAN: tuple[tuple[Design, list[UnitPlan]], ...] = (
    (
        s.QB5,
        [
            *good(12),
            *good(2, held_good="new"),
            *partial(2),
            twice("Marsh Quay 1", "Tollgate Yard 2"),
            twice("Upper Fold 1", "Ferry Slip 1", gaps=True),
            UnitPlan("mirrored", mistake=FACE, by=(s.MIRRORING,)),
            UnitPlan("shifted", mistake=END_TWICE, by=("Marsh Quay 4",)),
            UnitPlan("wrong common", mistake=stuck(2), by=("Saltpan Depot 1",)),
            UnitPlan("faulty", fault="line_open"),
            *(UnitPlan("equivalent", table=s.QB5_EQUIVALENT, source_class="equivalent") for _ in range(3)),
            suspect("line_closed", by=("Marsh Quay 1",)),
            suspect("resistive_common", by=("Ferry Slip 2",)),
            suspect("", by=("Marsh Quay 1",)),
        ],
    ),
    (
        s.QB6,
        [
            *good(14),
            *good(9, variant=1),
            *partial(2),
            twice("Ferry Slip 2", "Saltpan Depot 1"),
            UnitPlan("mirrored", mistake=FACE, by=(s.MIRRORING,)),
            UnitPlan("mirrored", mistake=LINES, by=(s.MIRRORING,)),
            UnitPlan("exchanged", mistake=Mistake("exchanged", "pins", 1), by=("Upper Fold 2",)),
            UnitPlan("faulty", fault="bridged_lines"),
            UnitPlan("other design", truly=s.PX6, by=("Tollgate Yard 2",)),
            suspect("worn_contact", by=("Marsh Quay 1",), missing=0.2),
        ],
    ),
    (
        s.QH7,
        [
            *good(11),
            *partial(2),
            UnitPlan("mirrored", mistake=FACE, by=(s.MIRRORING,)),
            UnitPlan("shifted", mistake=END_MISSING, by=("Upper Fold 3",)),
            UnitPlan("exchanged", mistake=Mistake("exchanged", "positions", 4), by=("Marsh Quay 3",)),
            UnitPlan("passed our own check only", held_good="passed_check"),
            UnitPlan("faulty", fault="worn_contact"),
        ],
    ),
    (
        s.TL4,
        [
            *good(12),
            *partial(3),
            twice("Tollgate Yard 1", "Lantern Road 2"),
            UnitPlan("wrong common", mistake=stuck(3), by=("Saltpan Depot 2",)),
            UnitPlan("faulty", fault="line_closed"),
            suspect("detent_shift", by=("Upper Fold 2",)),
        ],
    ),
    (
        s.PX6,
        [
            *good(11),
            *partial(1),
            *(UnitPlan("coordinated", table=s.PX6_CLAIMED, by=(s.GROUP[n % 3],)) for n in range(4)),
            UnitPlan("mirrored", mistake=LINES, by=("Marsh Quay 4",)),
            UnitPlan("faulty", fault="detent_shift"),
        ],
    ),
    (
        s.PX8,
        [
            *good(9),
            *partial(2),
            UnitPlan("mirrored", mistake=FACE, by=(s.MIRRORING,)),
            UnitPlan("shifted", mistake=END_TWICE, by=("Ferry Slip 3",)),
            UnitPlan("faulty", fault="line_open"),
        ],
    ),
    (
        s.TS4,
        [
            *good(7, source_class="unknown"),
            *partial(1),
            UnitPlan("faulty", fault="worn_contact"),
            UnitPlan("wrong common", mistake=stuck(1), by=("Upper Fold 3",)),
        ],
    ),
    (s.FA5, [*good(1, by=("Ferry Slip 1",)), *good(1, by=("Ferry Slip 2",)), *good(1, by=("Ferry Slip 3",))]),
)
