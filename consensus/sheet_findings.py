"""Why a sheet fits the pattern or doesn't, as a frozen object with a plain form."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from consensus.figures import rounded

Plain = dict[str, Any]


@dataclass(frozen=True)
class FindingCell:
    """A place: of a reading that a finding leaves unlike the pattern, or that tells variants apart."""

    position: str
    pin: str
    against: str
    between: bool = False

    def to_plain(self) -> Plain:
        return {
            "position": self.position,
            "pin": self.pin,
            "against": self.against,
            "between": self.between,
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> FindingCell:
        between = bool(plain.get("between", False))
        return cls(plain["position"], plain["pin"], plain.get("against", ""), between)


@dataclass(frozen=True)
class UnusualFigure:
    """A reading in Ω beyond what its cell typically shows; word: `warning` or `action` of robust.z_limits."""

    cell: FindingCell
    z: float
    word: str

    def to_plain(self) -> Plain:
        return {**self.cell.to_plain(), "z": rounded(self.z, 3), "word": self.word}

    @classmethod
    def from_plain(cls, plain: Plain) -> UnusualFigure:
        return cls(FindingCell.from_plain(plain), float(plain["z"]), plain["word"])


@dataclass(frozen=True)
class SheetFinding:
    """Why a sheet fits or doesn't: the likeliest finding, others with p, cells, figures for a sentence.

    params: "detail" (face, lines, out, back, pins, positions, the kind of fault…), "pins", "positions",
    "fault" (of the unit, besides the mistake), "fault_detail" (out, back), "fault_pins", "fault_positions",
    "readings" (compared), "agreeing" (of these, repaired), "agreeing_as_read" (as they are written, with the
    sheet's variant or, where it is of none, with the largest), "counts" (False: weight zero in the pattern),
    "ohm" where a fault has a figure, "design" for another design.
    unusual: readings that show the state that they should, with a figure beyond the typical.
    """

    submission: str
    design: str
    variant: str | None
    finding: str
    p: float
    also: tuple[tuple[str, float], ...] = ()
    cells: tuple[FindingCell, ...] = ()
    params: Plain = field(default_factory=dict)
    unusual: tuple[UnusualFigure, ...] = ()

    def to_plain(self) -> Plain:
        return {
            "submission": self.submission,
            "design": self.design,
            "variant": self.variant,
            "finding": self.finding,
            "p": rounded(self.p),
            "also": [{"finding": name, "p": rounded(p)} for name, p in self.also],
            "cells": [cell.to_plain() for cell in self.cells],
            "params": self.params,
            "unusual": [figure.to_plain() for figure in self.unusual],
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> SheetFinding:
        return cls(
            submission=plain["submission"],
            design=plain["design"],
            variant=plain["variant"],
            finding=plain["finding"],
            p=float(plain["p"]),
            also=tuple((other["finding"], float(other["p"])) for other in plain.get("also", [])),
            cells=tuple(FindingCell.from_plain(cell) for cell in plain.get("cells", [])),
            params=dict(plain.get("params", {})),
            unusual=tuple(UnusualFigure.from_plain(figure) for figure in plain.get("unusual", [])),
        )
