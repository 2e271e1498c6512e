"""Likelihoods of every possible reading, tabulated, so that a check needs no more than look-ups and sums.

For each symbol of a chart (contacts.py) the log likelihood of a figure is a curve over ln(Ω), kept as pieces
of parabolas; "over the limit", bare continuity and a reading that wandered are single numbers.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import Alphabet
from consensus.reading_odds import (
    HARNESS_SPREAD,
    LOWEST_OHM,
    METER_U,
    WORN_FROM_OHM,
    WORN_SHARES,
    ReadingOdds,
    reading_odds,
)
from consensus.readings import Kind, Readings
from consensus.results import ReadingModel
from consensus.segments import fit_segments
from consensus.settings import Settings

Plain = dict[str, Any]
FloatArray = NDArray[np.float64]

MOST_OHM = 1e9
STEP, CLOSE_STEP, AROUND = 0.004, 0.0008, 0.3  # nats between samples; close to a level, so far around it
TOLERANCE = 2e-4  # nats: the curves are no further off than this
FAR = 1e10  # Ω in series by which every contact is out of sight
RESIDUAL = 1e-6  # relative: how well a resistive common's curves must be told by their parts


class ReadingTables:
    """Tables of one chart's alphabet for one place of reading (`bench`, or away from it)."""

    def __init__(
        self,
        alphabet: Alphabet,
        model: ReadingModel,
        levels: list[float],
        settings: Settings,
        read_at: str,
    ) -> None:
        self.alphabet, self.model, self.levels = alphabet, model, levels
        self.settings, self.read_at = settings, read_at
        self.used: list[int] = []

    def odds(self, readings: Readings, added: float | None = None) -> ReadingOdds:
        """Of a reader of whom nothing is known."""
        return self._with(readings, None if added is None else np.full(len(readings), added))

    def to_plain(self, used: list[int]) -> Plain:
        """curves: by column; over, low (over a limit below every level), bare, wander: one number a column.

        The columns: log likelihood of each used symbol, chance of a slip of each, log of the three kinds of
        worn contact, log of nonsense.
        """
        self.used = used
        edges = [
            LOWEST_OHM,
            self.settings.closed_below_ohm,
            WORN_FROM_OHM,
            self.settings.open_above_ohm,
            MOST_OHM,
        ]
        curves: list[list[list[float]]] = [[] for _column in self._columns(figures(np.array([1.0])))[0]]
        for low, high in pairwise(edges):
            x = self._samples(np.log(low), np.log(high))
            columns = self._columns(figures(np.exp(x)))
            for curve, y in zip(curves, columns.T, strict=True):
                found = fit_segments(x, y, TOLERANCE)
                for start, piece in zip(found.start, found.coefficients, strict=True):
                    curve.append(_row(start, piece))
        single = {
            "over": figures(np.array([np.nan]), kind=Kind.OVER_LIMIT),
            "low": figures(np.array([np.nan]), kind=Kind.OVER_LIMIT, limit=1e-3),
            "bare": figures(np.array([np.nan]), kind=Kind.CONTINUITY),
        }
        plain: Plain = {"used": used, "curves": [_joined(curve) for curve in curves]}
        for name, readings in single.items():
            plain[name] = rounded(self._columns(readings)[0])
        limit = self.settings.closed_below_ohm
        plain["wander"] = rounded(self._columns(figures(np.array([limit / 2]), high=2 * limit))[0])
        plain["common"] = self._common()
        return plain

    def _samples(self, low: float, high: float) -> FloatArray:
        """ln(Ω) at which curves are looked at: everywhere, and closely around each level."""
        parts = [np.arange(low, high, STEP)]
        for level in {*self.levels, *(self.alphabet.levels[one - 2] for one in self.used_levels)}:
            middle = np.log(level + self.model.contact_ohm)
            parts.append(np.arange(middle - AROUND, middle + AROUND, CLOSE_STEP))
        x = np.unique(np.concatenate(parts))
        x = x[(x >= low) & (x < high)]
        x[0] = low + 1e-12  # on the near side of the edge, whatever rounding makes of it
        return x

    @property
    def used_levels(self) -> list[int]:
        """Symbols of resistive levels among the used ones."""
        return [one for one in self.used if 2 <= one < self.alphabet.odd]

    def _columns(self, readings: Readings) -> FloatArray:
        odds = self.odds(readings)
        parts = [np.log(odds.likelihood[:, self.used]), odds.slip[:, self.used]]
        return np.concatenate([*parts, np.log(odds.worn), np.log(odds.flat)[:, None]], axis=1)

    def _common(self) -> Plain | None:
        """Likelihoods with R Ω in series: base + Σ weight × density at (level + R), for closed and levels.

        None where the parts don't tell the whole: then only the engine can say.
        """
        symbols = [one for one in self.used if 1 <= one < self.alphabet.odd]
        centres = sorted({0.0, *self.levels, *self.alphabet.levels.tolist()})
        weights = np.zeros((len(symbols), len(centres)))
        worst = 0.0
        ohm = np.array([60.0, 700.0, 9000.0])
        y = np.concatenate(
            [(centre + r) * np.exp(np.linspace(-0.3, 0.3, 41)) for centre in centres for r in ohm]
        )
        r_of = np.tile(np.repeat(ohm, 41), len(centres))
        kept = y < self.settings.open_above_ohm
        y, r_of = y[kept], r_of[kept]
        odds, base = self._with(figures(y), r_of), self._with(figures(y), np.full(len(y), FAR))
        whole = (odds.likelihood - base.likelihood)[:, symbols]
        parts = np.stack([self.density(y, centre + r_of) for centre in centres], axis=1)
        for at in range(len(symbols)):
            answer, *_rest = np.linalg.lstsq(parts, whole[:, at], rcond=None)
            weights[at] = answer
            scale = max(float(np.abs(whole[:, at]).max()), 1e-30)
            worst = max(worst, float(np.abs(parts @ answer - whole[:, at]).max()) / scale)
        if worst > RESIDUAL:
            return None
        x = np.linspace(np.log(10.0), np.log(2e5), 1500)
        buzz = np.log(
            self._with(figures(np.full(len(x), np.nan), kind=Kind.CONTINUITY), np.exp(x)).likelihood
        )
        bare = [_pieces(x, buzz[:, symbol]) for symbol in symbols]
        return {
            "symbols": symbols,
            "centres": rounded(np.array(centres), 9),
            "weights": [rounded(row, 9) for row in np.where(np.abs(weights) < 1e-12, 0.0, weights)],
            "base": self._base(symbols),
            "bare": bare,
            "contact": self.model.contact_ohm,
            "contact_spread": self._contact_spread(),
            "spread": float(np.hypot(self.model.level_spread, METER_U)),
        }

    def _base(self, symbols: list[int]) -> list[list[list[float]]]:
        """Curves of what is left of the likelihood where the contact is out of sight."""
        edges = [LOWEST_OHM, self.settings.closed_below_ohm, WORN_FROM_OHM, self.settings.open_above_ohm, 1e8]
        curves: list[list[list[float]]] = [[] for _symbol in symbols]
        for low, high in pairwise(edges):
            x = np.linspace(np.log(low), np.log(high), 400, endpoint=False)
            x[0] += 1e-12
            like = np.log(self._with(figures(np.exp(x)), np.full(len(x), FAR)).likelihood)
            for curve, symbol in zip(curves, symbols, strict=True):
                curve += _pieces(x, like[:, symbol], joined=False)
        return [_joined(curve) for curve in curves]

    def _with(self, readings: Readings, ohm: FloatArray | None) -> ReadingOdds:
        return reading_odds(
            readings,
            self.alphabet,
            self.model,
            "",
            self.settings,
            self.read_at,
            added_ohm=ohm,
            levels=self.levels,
        )

    def _contact_spread(self) -> float:
        extra = 0.0 if self.read_at == "bench" else HARNESS_SPREAD
        return float(np.hypot(self.model.contact_spread, extra))

    def density(self, y: FloatArray, level: FloatArray) -> FloatArray:
        """Density in ln(Ω) of a level with a contact in series, as `reading_odds` has it."""
        total = level + self.model.contact_ohm
        contact = self.model.contact_ohm * self._contact_spread() / total
        spread = np.hypot(np.hypot(self.model.level_spread, METER_U), contact)
        away = np.log(y / total) / spread
        narrow, wide = np.exp(-0.5 * away**2), np.exp(-0.5 * (away / 6) ** 2) / 6
        return np.asarray((0.98 * narrow + 0.02 * wide) / (spread * np.sqrt(2 * np.pi)))


def figures(
    low: FloatArray, high: float | None = None, kind: Kind = Kind.VALUE, limit: float = np.inf
) -> Readings:
    """Readings at one place, by a meter without a limit unless one is given."""
    n = len(low)
    zero, nought = np.zeros(n, np.int32), np.zeros(n)
    return Readings(
        sheet=zero,
        position=zero,
        between=np.zeros(n, np.bool_),
        sweep=zero + 1,
        pin=zero,
        against=zero + 1,
        kind=np.full(n, int(kind if high is None else Kind.RANGE), np.int32),
        low=low,
        high=low if high is None else np.full(n, high),
        limit=np.full(n, limit),
        lead=nought,
    )


def reader_classes(odds: ReadingOdds) -> list[list[float]]:
    """[log share, miss a, miss b, invent a, invent b] of each class of readers."""
    rates = odds.rates
    return [
        [float(share), *map(float, miss), *map(float, invent)]
        for share, miss, invent in zip(rates.log_share, rates.miss, rates.invent, strict=True)
    ]


def worn_shares() -> list[float]:
    return [float(share) for share in WORN_SHARES]


def rounded(values: FloatArray, digits: int = 8) -> list[float]:
    return [float(f"{value:.{digits}g}") for value in values]


def _pieces(x: FloatArray, y: FloatArray, joined: bool = True) -> list[list[float]]:
    found = fit_segments(x, y, TOLERANCE)
    rows = [_row(start, piece) for start, piece in zip(found.start, found.coefficients, strict=True)]
    return _joined(rows) if joined else rows


def _row(start: float, piece: FloatArray) -> list[float]:
    """Starts are rounded down: a figure on an edge belongs to the piece that begins there."""
    return [float(np.floor(start * 1e8) / 1e8), *(float(f"{value:.7g}") for value in piece)]


def _joined(rows: list[list[float]]) -> list[list[float]]:
    """[starts, a, b, c]: four rows instead of one a piece, which is shorter to write."""
    return [list(column) for column in zip(*rows, strict=True)]
