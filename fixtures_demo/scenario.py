"""The invented world behind the demo: what the switches are truly like, and who reads them how.

Only `make.py` looks in here.  The registry never does: its charts come from the readings alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulation.designs import OPEN, Design
from tests.simulation.readers import Reader

CLOSED = 0.0


def _table(rows: str, levels: tuple[float, ...] = ()) -> np.ndarray:
    """A row a position; x closed, . open, a letter from a on is one of the levels (Ω)."""
    known = {"x": CLOSED, ".": OPEN, **{chr(ord("a") + n): ohm for n, ohm in enumerate(levels)}}
    return np.array([[known[sign] for sign in row] for row in rows.split()])


def _design(
    name: str,
    positions: str,
    pins: str,
    common: str | None,
    *tables: np.ndarray,
    kind: str = "contact",
) -> Design:
    labels = tuple(pins)
    if common is None:
        pairs = tuple((n, n + 1) for n in range(0, len(labels), 2))
        return Design(name, kind, tuple(positions.split()), labels, None, pairs, tables)
    at = labels.index(common)
    pairs = tuple((pin, at) for pin in range(len(labels)) if pin != at)
    return Design(name, kind, tuple(positions.split()), labels, at, pairs, tables)


LADDER = (56.0, 220.0, 680.0, 1200.0, 2200.0, 3900.0)
QB5 = _design("Quillbrack QB-5", "P R N D 3 2 1", "12345", "1", _table("x..x ..xx x.x. .x.x xx.. .xx. xxxx"))
QB6 = _design(
    "Quillbrack QB-6",
    "P R N D 3 2 1",
    "123456",
    "1",
    _table("x..x. .xx.. x.x.x ..xx. .x.x. xx..x ..x.x"),
    _table("x..x. .xx.. x.x.x ..xxx .x... xxx.x ..x.x"),
)
QH7 = _design(
    "Quillbrack QH-7",
    "P R N D 4 3 2 1",
    "1234567",
    "4",
    _table("x..x.x .xx... x.x..x ..xx.. .x.xx. x...xx .xx.x. x..xx."),
)
TL4 = _design(
    "Tarnvoe TL-4",
    "P R N D 2 1",
    "1234",
    "1",
    _table("ax. b.x cx. d.. e.. f..", LADDER),
    kind="ladder",
)
TS4 = _design("Tarnvoe TS-4 set", "P R N D L", "ABCG", "G", _table("x.. .xx x.x .x. ..x"))
PX6 = _design(
    "Pellgrove PX-6", "P R N D 3 2 1", "123456", "1", _table("xx... ..x.x x..x. .x..x ..xx. x.x.. .xx.x")
)
PX8 = _design("Pellgrove PX-8", "P R N D 3 2", "12345678", None, _table("x..x .x.. x.x. ..x. .xx. .x.x"))
FA5 = _design("Pellgrove FA-5", "AS2 AS1 N AH1 AH2", "12345", "5", _table("x.x. x..x ..xx .x.x .xx."))


def _turned_over(design: Design, *cells: tuple[str, str]) -> np.ndarray:
    """The design's table with some cells the other way round."""
    table = design.tables[0].copy()
    for position, pin in cells:
        row = design.positions.index(position)
        column = next(n for n, pair in enumerate(design.pairs) if design.pins[pair[0]] == pin)
        table[row, column] = CLOSED if table[row, column] == OPEN else OPEN
    return table


# What three people of one workshop agreed on, and the pattern of a replacement part by another maker.
PX6_CLAIMED = _turned_over(PX6, ("R", "2"), ("D", "5"), ("3", "3"), ("2", "6"))
QB5_EQUIVALENT = _turned_over(QB5, ("1", "5"), ("3", "4"))


@dataclass(frozen=True)
class Person:
    """writes: plain | iec | comma | k, how figures are put on paper; lead: Ω, told on the sheet."""

    reader: Reader
    writes: str = "plain"
    lead: float = 0.0
    sweeps: int = 1


WORKSHOPS = {
    "Marsh Quay": 4,
    "Tollgate Yard": 4,
    "Saltpan Depot": 3,
    "Upper Fold": 3,
    "Ferry Slip": 3,
    "Lantern Road": 3,
}
# Everybody not named here is careful and plain.
HABITS: dict[str, dict[str, object]] = {
    "Marsh Quay 2": {"writes": "comma"},
    "Marsh Quay 4": {"missed": 0.08, "invented": 0.02},
    "Tollgate Yard 1": {"writes": "iec", "limit": 4e7},
    "Tollgate Yard 3": {"bare": True},
    "Saltpan Depot 2": {"missed": 0.06, "invented": 0.03},
    "Saltpan Depot 3": {"lead": 0.3, "unzeroed": 0.3},
    "Upper Fold 1": {"sweeps": 2},
    "Upper Fold 3": {"bare": True, "missed": 0.05},
    "Ferry Slip 1": {"writes": "iec"},
    "Ferry Slip 3": {"unzeroed": 0.5},
    "Lantern Road 2": {"limit": 6e7},
}
MIRRORING = "Tollgate Yard 4"  # numbers from the wrong face time and again
GROUP = ("Lantern Road 1", "Lantern Road 2", "Lantern Road 3")


def people() -> dict[str, Person]:
    made = {}
    for workshop, count in WORKSHOPS.items():
        for n in range(1, count + 1):
            name = f"{workshop} {n}"
            habit = HABITS.get(name, {})
            reader = Reader(
                name=name,
                weight=1.0,
                missed=float(habit.get("missed", 0.008)),
                invented=float(habit.get("invented", 0.003)),
                limit=float(habit.get("limit", 2e7)),
                bare=bool(habit.get("bare", False)),
                unzeroed=float(habit.get("unzeroed", 0.0)),
                mirrors=0.0,
            )
            made[name] = Person(
                reader,
                writes=str(habit.get("writes", "plain")),
                lead=float(habit.get("lead", 0.0)),
                sweeps=int(habit.get("sweeps", 1)),
            )
    return made
