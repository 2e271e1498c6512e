"""What a check and an identification give back: frozen objects with `to_plain()`.

Plain forms follow the file contract (`check/1`, `identify/1`); "message" is made by the caller from codes and
parameters.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from consensus.results import rounded

Plain = dict[str, Any]


@dataclass(frozen=True)
class Cause:
    """One fault of the unit or one mistake of the sheet, with the probability that it is present.

    Causes with the same group predict the same for every reading taken.  params: "detail" (lines, face, out,
    back, pins, positions), "ohm" of a resistive common, "sweeps" in which alone detents slip, "of": "unit",
    "sheet", "choice" or "harness" (cause "harness_open": only where not read on the bench).
    """

    cause: str
    pins: tuple[str, ...]
    positions: tuple[str, ...]
    p: float
    group: int
    params: Plain = field(default_factory=dict)

    def to_plain(self) -> Plain:
        return {
            "cause": self.cause,
            "pins": list(self.pins),
            "positions": list(self.positions),
            "p": rounded(self.p),
            "group": self.group,
            "params": self.params,
        }


@dataclass(frozen=True)
class NextReading:
    """A reading that would tell: bits of information expected about the verdict and about the cause.

    repeat: it was taken already and is worth taking again; excludes: faults (indices into
    SheetCheck.not_excluded) that could pass for a start position and that this reading would show.
    """

    position: str
    pin: str
    against: str
    bits: float
    bits_cause: float
    repeat: bool = False
    excludes: int = 0

    def to_plain(self) -> Plain:
        return {
            "position": self.position,
            "pin": self.pin,
            "against": self.against,
            "bits": rounded(self.bits, 4),
            "bits_cause": rounded(self.bits_cause, 4),
            "repeat": self.repeat,
            "excludes": self.excludes,
        }


@dataclass(frozen=True)
class UnlikeReading:
    """A reading that is not what a good unit shows there, the reader's mistake taken into account."""

    position: str
    pin: str
    against: str
    expected: str
    read: str
    sweep: int = 1
    between: bool = False

    def to_plain(self) -> Plain:
        return {
            "position": self.position,
            "pin": self.pin,
            "against": self.against,
            "expected": self.expected,
            "read": self.read,
            "sweep": self.sweep,
            "between": self.between,
        }


@dataclass(frozen=True)
class SheetCheck:
    """Verdict about one unit from one sheet.

    p_good: probability that the unit has no fault, whatever the reader did; p_unknown: that nothing in the
    model explains the sheet; reason: why a verdict is undecided ("" otherwise): "evidence",
    "start_position", "shift", "no_readings"; not_excluded: faults that could pass for a start position and
    that no reading taken excludes; compared: readings that the chart has a place for.
    """

    submission: str
    design: str
    variant: str | None
    verdict: str
    p_good: float
    causes: tuple[Cause, ...] = ()
    next: tuple[NextReading, ...] = ()
    unlike: tuple[UnlikeReading, ...] = ()
    reason: str = ""
    not_excluded: tuple[Plain, ...] = ()
    p_unknown: float = 0.0
    compared: int = 0
    agreeing: int = 0

    def to_plain(self) -> Plain:
        return {
            "submission": self.submission,
            "design": self.design,
            "variant": self.variant,
            "verdict": self.verdict,
            "p_good": rounded(self.p_good),
            "causes": [cause.to_plain() for cause in self.causes],
            "next": [reading.to_plain() for reading in self.next],
            "unlike": [reading.to_plain() for reading in self.unlike],
            "reason": self.reason,
            "not_excluded": list(self.not_excluded),
            "p_unknown": rounded(self.p_unknown),
            "compared": self.compared,
            "agreeing": self.agreeing,
        }


@dataclass(frozen=True)
class Candidate:
    """A design and variant that the switch may be of; pins: pin as read → pin of the design."""

    design: str
    variant: str
    p: float
    pins: dict[str, str]

    def to_plain(self) -> Plain:
        return {"design": self.design, "variant": self.variant, "p": rounded(self.p), "pins": dict(self.pins)}


@dataclass(frozen=True)
class Identification:
    """Candidates, likeliest first; p_none: probability that it is none of the charts."""

    submission: str
    candidates: tuple[Candidate, ...]
    p_none: float = 0.0

    def to_plain(self) -> Plain:
        return {
            "submission": self.submission,
            "candidates": [candidate.to_plain() for candidate in self.candidates],
            "p_none": rounded(self.p_none),
        }
