"""The grid of a design, and what can go wrong on it: words that hypotheses, charts and checks share."""

from __future__ import annotations

from dataclasses import dataclass

Pair = tuple[int, int]

OPEN, CLOSED, UNKNOWN, WORN = range(4)
CONSTANTS = 4


@dataclass(frozen=True)
class Mistake:
    """A sheet mistake: kind is a finding of the contract or "none"; detail: lines, face, out, back, pins,
    positions; pins and positions are 0-based indices."""

    kind: str
    detail: str = ""
    pins: tuple[int, ...] = ()
    positions: tuple[int, ...] = ()


@dataclass(frozen=True)
class Fault:
    """A unit fault: kind is a cause of the contract or "none"; pins and positions are 0-based indices."""

    kind: str
    pins: tuple[int, ...] = ()
    positions: tuple[int, ...] = ()
    detail: str = ""


NO_MISTAKE = Mistake("none")
UNEXPLAINED = Mistake("unexplained")
NO_FAULT = Fault("none")
RESISTIVE_COMMON = Fault("resistive_common")


@dataclass(frozen=True)
class Shape:
    """The grid on which hypotheses act.

    slots: (position, between) in detent order; pairs: pin pairs (a < b) that are places of their own;
    named: pin pairs as sheets name them (a superset of what is read).  A place is slot * len(pairs) +
    pair, a cell slot * len(named) + named.
    """

    positions: int
    pins: int
    common: int | None
    slots: tuple[tuple[int, bool], ...]
    pairs: tuple[Pair, ...]
    named: tuple[Pair, ...]

    @property
    def places(self) -> int:
        return len(self.slots) * len(self.pairs)

    @property
    def cells(self) -> int:
        return len(self.slots) * len(self.named)

    @property
    def lines(self) -> tuple[int, ...]:
        """Pins other than the common, in connector order."""
        return tuple(pin for pin in range(self.pins) if pin != self.common)
