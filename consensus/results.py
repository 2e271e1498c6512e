"""What the engine gives back: frozen objects with `to_plain()` and `from_plain()`.

Plain forms follow the file contract `benchquorum/agreed/1`; fields beyond it are what a later check
needs.  No sentence is made here: codes and parameters only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from scipy.special import betaincinv

from consensus.figures import rounded
from consensus.reading_model import ReadingModel
from consensus.sheet_findings import FindingCell, SheetFinding

__all__ = [
    "CellAgreement",
    "DesignAgreement",
    "FindingCell",
    "LeakFigures",
    "OhmFigures",
    "ReadingModel",
    "SheetFinding",
    "VariantPattern",
    "rounded",
    "share_interval",
]

Plain = dict[str, Any]
P_FLOOR = 1e-6


@lru_cache(maxsize=4096)
def share_interval(agreeing: int, units: int, level: float = 0.95) -> tuple[float, float]:
    """Two-sided Clopper-Pearson interval of `agreeing` of `units` (Clopper & Pearson 1934).

    >>> [round(x, 4) for x in share_interval(4, 4)]
    [0.3976, 1.0]
    """
    tail = (1 - level) / 2
    low = 0.0 if agreeing == 0 else float(betaincinv(agreeing, units - agreeing + 1, tail))
    high = 1.0 if agreeing == units else float(betaincinv(agreeing + 1, units - agreeing, 1 - tail))
    return low, high


@dataclass(frozen=True)
class OhmFigures:
    """Resistance of one cell, Ω: robust centre, its standard uncertainty, acceptance range of one new unit.

    spread: standard deviation of ln(reading - lead) of one unit about the centre; values: units whose figures
    were used.
    """

    typical: float
    u: float
    accept: tuple[float, float]
    spread: float
    values: int

    def to_plain(self) -> Plain:
        return {
            "typical": rounded(self.typical, 5),
            "u": rounded(self.u, 4),
            "accept": [rounded(self.accept[0], 5), rounded(self.accept[1], 5)],
            "spread": rounded(self.spread, 4),
            "values": self.values,
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> OhmFigures:
        low, high = plain["accept"]
        return cls(
            typical=float(plain["typical"]),
            u=float(plain["u"]),
            accept=(float(low), float(high)),
            spread=float(plain.get("spread", 0.5)),
            values=int(plain.get("values", 0)),
        )


@dataclass(frozen=True)
class LeakFigures:
    """Leakage of one open cell, Ω: its middle over units (None: beyond what the meters show), and what
    95 % of good units exceed, with a confidence of 95 %; of so many units, and those that showed a figure."""

    typical: float | None
    least: float
    units: int
    figures: int

    def to_plain(self) -> Plain:
        return {
            "typical": None if self.typical is None else rounded(self.typical, 4),
            "least": rounded(self.least, 4),
            "units": self.units,
            "figures": self.figures,
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> LeakFigures:
        typical = plain["typical"]
        return cls(
            typical=None if typical is None else float(typical),
            least=float(plain["least"]),
            units=int(plain["units"]),
            figures=int(plain["figures"]),
        )


@dataclass(frozen=True)
class CellAgreement:
    """The pattern at one place: a position (or the gap behind it) and an unordered pair of pins.

    states: posterior of (open, closed, resistive), not clipped; levels: posterior of each resistive
    level as (Ω, probability), their sum is the third state; units and agreeing are independent units; leak:
    of an open cell, None where no unit showed a figure.
    """

    position: str
    pin: str
    against: str
    between: bool
    state: str | None
    states: tuple[float, float, float]
    standing: str
    units: int
    agreeing: int
    contributors: int
    ohm: OhmFigures | None = None
    levels: tuple[tuple[float, float], ...] = ()
    leak: LeakFigures | None = None

    @property
    def p_open(self) -> float:
        """Posterior probability that the pattern is open here, within [1e-6, 1 - 1e-6]."""
        return min(max(self.states[0], P_FLOOR), 1 - P_FLOOR)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Two-sided Clopper-Pearson interval of the share of agreeing units."""
        return share_interval(self.agreeing, self.units, level)

    def to_plain(self) -> Plain:
        return {
            "position": self.position,
            "between": self.between,
            "pin": self.pin,
            "against": self.against,
            "state": self.state,
            "p_open": rounded(self.p_open, 8),
            "p_closed": rounded(self.states[1]),
            "p_resistive": rounded(self.states[2]),
            "standing": self.standing,
            "units": self.units,
            "agreeing": self.agreeing,
            "contributors": self.contributors,
            "agreement": [rounded(bound) for bound in self.interval()],
            "ohm": None if self.ohm is None else self.ohm.to_plain(),
            "levels": [[rounded(ohm, 5), rounded(p)] for ohm, p in self.levels],
            "leak": None if self.leak is None else self.leak.to_plain(),
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> CellAgreement:
        p_open = float(plain["p_open"])
        closed = float(plain.get("p_closed", (1 - p_open) * (plain["state"] != "resistive")))
        return cls(
            position=plain["position"],
            pin=plain["pin"],
            against=plain["against"],
            between=bool(plain.get("between", False)),
            state=plain["state"],
            states=(p_open, closed, float(plain.get("p_resistive", max(0.0, 1 - p_open - closed)))),
            standing=plain["standing"],
            units=int(plain["units"]),
            agreeing=int(plain["agreeing"]),
            contributors=int(plain["contributors"]),
            ohm=None if plain.get("ohm") is None else OhmFigures.from_plain(plain["ohm"]),
            levels=tuple((float(ohm), float(p)) for ohm, p in plain.get("levels", [])),
            leak=None if plain.get("leak") is None else LeakFigures.from_plain(plain["leak"]),
        )


@dataclass(frozen=True)
class VariantPattern:
    """One table of a design.  tells: places in which it differs from the other tables, in state or level,
    the quickest first (by information about the variant per reading)."""

    variant: str
    share: float
    submissions: int
    units: int
    contributors: int
    cells: tuple[CellAgreement, ...]
    tells: tuple[FindingCell, ...] = ()

    def to_plain(self) -> Plain:
        return {
            "variant": self.variant,
            "share": rounded(self.share),
            "submissions": self.submissions,
            "units": self.units,
            "contributors": self.contributors,
            "cells": [cell.to_plain() for cell in self.cells],
            "tells": [cell.to_plain() for cell in self.tells],
        }

    @classmethod
    def from_plain(cls, plain: Plain) -> VariantPattern:
        return cls(
            variant=plain["variant"],
            share=float(plain["share"]),
            submissions=int(plain["submissions"]),
            units=int(plain["units"]),
            contributors=int(plain["contributors"]),
            cells=tuple(CellAgreement.from_plain(cell) for cell in plain["cells"]),
            tells=tuple(FindingCell.from_plain(cell) for cell in plain.get("tells", [])),
        )


@dataclass(frozen=True)
class DesignAgreement:
    """The agreed pattern of one design; variants largest first, findings in the order of the sheets.

    start_positions: labels of the positions that release the starter, None where not known;
    statistics: agreement figures of the design (see README.md).
    """

    design: str
    positions: tuple[str, ...]
    pins: tuple[str, ...]
    common: str | None
    variants: tuple[VariantPattern, ...]
    findings: tuple[SheetFinding, ...]
    model: ReadingModel
    start_positions: tuple[str, ...] | None = None
    statistics: Plain = field(default_factory=dict)

    def to_plain(self) -> Plain:
        """The object of `designs` in the contract; findings are objects of their own (`submissions`)."""
        return {
            "design": self.design,
            "positions": list(self.positions),
            "pins": list(self.pins),
            "common": self.common,
            "start_positions": None if self.start_positions is None else list(self.start_positions),
            "variants": [variant.to_plain() for variant in self.variants],
            "model": self.model.to_plain(),
            "statistics": self.statistics,
        }

    def findings_plain(self) -> list[Plain]:
        """The objects of `submissions` in the contract, without their "message"."""
        return [finding.to_plain() for finding in self.findings]

    @classmethod
    def from_plain(cls, plain: Plain, submissions: list[Plain] | None = None) -> DesignAgreement:
        """Read back what `to_plain` made; `submissions`: plain findings, of which this design's are kept."""
        starts = plain.get("start_positions")
        mine = [entry for entry in submissions or [] if entry["design"] == plain["design"]]
        return cls(
            design=plain["design"],
            positions=tuple(plain["positions"]),
            pins=tuple(plain["pins"]),
            common=plain["common"],
            variants=tuple(VariantPattern.from_plain(variant) for variant in plain["variants"]),
            findings=tuple(SheetFinding.from_plain(entry) for entry in mine),
            model=ReadingModel.from_plain(plain["model"]),
            start_positions=None if starts is None else tuple(starts),
            statistics=dict(plain.get("statistics", {})),
        )
