"""What a short test and a line code give back: frozen objects with `to_plain()`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Plain = dict[str, Any]


@dataclass(frozen=True)
class TestReading:
    """A reading of a short test, and what a good unit shows there."""

    __test__ = False  # not a test case, whatever its name

    position: str
    pin: str
    against: str
    expected: str

    def to_plain(self) -> Plain:
        return {
            "position": self.position,
            "pin": self.pin,
            "against": self.against,
            "expected": self.expected,
        }


@dataclass(frozen=True)
class ShortTest:
    """Smallest sets of readings.

    full: readings of a full sheet; lines: good or a fault of a line, of the common or of the detents; good:
    a contact worn in one place excluded too; cause: names the fault; exact: each proved smallest; bounds:
    no smaller sets than these exist (in the same order).
    """

    design: str
    variant: str
    full: int
    lines: tuple[TestReading, ...]
    good: tuple[TestReading, ...]
    cause: tuple[TestReading, ...]
    exact: bool
    bounds: tuple[int, int, int]

    def to_plain(self) -> Plain:
        return {
            "design": self.design,
            "variant": self.variant,
            "full": self.full,
            "lines": [reading.to_plain() for reading in self.lines],
            "good": [reading.to_plain() for reading in self.good],
            "cause": [reading.to_plain() for reading in self.cause],
            "exact": self.exact,
            "bounds": dict(zip(("lines", "good", "cause"), self.bounds, strict=True)),
        }


@dataclass(frozen=True)
class CodeStep:
    """From one position to its neighbour: the lines that change."""

    position: str
    to: str
    changes: tuple[str, ...]

    def to_plain(self) -> Plain:
        return {"position": self.position, "to": self.to, "changes": list(self.changes)}


@dataclass(frozen=True)
class ParitySet:
    """Lines of which an even (odd) number is closed in every position."""

    lines: tuple[str, ...]
    odd: bool

    def to_plain(self) -> Plain:
        return {"lines": list(self.lines), "odd": self.odd}


@dataclass(frozen=True)
class PassesFor:
    """With the fault, `position` reads as `reads_as`; danger: that releases the starter out of place."""

    position: str
    reads_as: str
    danger: bool

    def to_plain(self) -> Plain:
        return {"position": self.position, "reads_as": self.reads_as, "danger": self.danger}


@dataclass(frozen=True)
class FaultEffect:
    """What a single fault makes the controller see.

    noticed: positions that read as no position at all; passes: positions that read as another one;
    start_lost: start positions that no longer release the starter.
    """

    cause: str
    pins: tuple[str, ...]
    positions: tuple[str, ...]
    noticed: tuple[str, ...]
    passes: tuple[PassesFor, ...]
    start_lost: tuple[str, ...]
    detail: str = ""

    @property
    def danger(self) -> bool:
        """True if a position out of place would release the starter."""
        return any(one.danger for one in self.passes)

    def to_plain(self) -> Plain:
        return {
            "cause": self.cause,
            "pins": list(self.pins),
            "positions": list(self.positions),
            "detail": self.detail,
            "danger": self.danger,
            "noticed": list(self.noticed),
            "passes": [one.to_plain() for one in self.passes],
            "start_lost": list(self.start_lost),
        }


@dataclass(frozen=True)
class LineCode:
    """The chart as a code: see consensus/line_codes.py.

    distances: Hamming distances between positions, in their order; least_distance: 1 = a single line in error
    can pass for another position, 2 = any is noticed; start_known: False = P and N were assumed; unsure:
    (position, line) that the chart itself is unsure of.
    """

    design: str
    variant: str
    positions: tuple[str, ...]
    lines: tuple[str, ...]
    start_positions: tuple[str, ...]
    start_known: bool
    distances: tuple[tuple[int, ...], ...]
    least_distance: int
    steps: tuple[CodeStep, ...]
    parity: tuple[ParitySet, ...]
    effects: tuple[FaultEffect, ...]
    unsure: tuple[tuple[str, str], ...] = ()

    @property
    def one_line_steps(self) -> bool:
        """True if neighbouring positions differ in exactly one line (as in a Gray code)."""
        return all(len(step.changes) == 1 for step in self.steps)

    def to_plain(self) -> Plain:
        return {
            "design": self.design,
            "variant": self.variant,
            "positions": list(self.positions),
            "lines": list(self.lines),
            "start_positions": list(self.start_positions),
            "start_known": self.start_known,
            "distances": [list(row) for row in self.distances],
            "least_distance": self.least_distance,
            "one_line_steps": self.one_line_steps,
            "steps": [step.to_plain() for step in self.steps],
            "parity": [one.to_plain() for one in self.parity],
            "effects": [effect.to_plain() for effect in self.effects],
            "unsure": [{"position": position, "line": line} for position, line in self.unsure],
        }
