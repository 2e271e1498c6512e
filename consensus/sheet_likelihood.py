"""Log likelihood of a sheet under predicted symbols, with what is integrated instead of plugged in.

The doubt about each place of the chart is mixed in; the reader's two slip rates are integrated over the
classes of readers (reader_rates.py): a reader who slips once is likelier to slip again.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from consensus.contacts import OPEN
from consensus.reading_odds import ReadingOdds
from consensus.unit_table import UnitTable

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.signedinteger[Any]]

AT_ONCE = 2_000_000  # readings under as many explanations that are looked up in one go
MOST_SLIPS = 0.3  # nobody's slip rate is above


class SheetLikelihood:
    """Log likelihood of one sheet's readings under arrays of predicted symbols.

    cells: (n,) of the readings; points: (M, n) of the grid, where the leads were under each mistake.
    """

    def __init__(self, unit: UnitTable, cells: IntArray, odds: ReadingOdds) -> None:
        self.unit, self.cells, self.odds = unit, cells, odds
        self.points = unit.grid.touched[:, cells].astype(np.int64)

    def tables(self, mistakes: IntArray, odds: ReadingOdds | None = None) -> FloatArray:
        """(M, n, A + 2, 5) what each reading adds under each symbol: its log likelihood, and to the counts of
        contacts missed and shown, opens invented and held.

        Doubt about the chart is mixed in where it is good.  odds: other likelihoods than the sheet's own,
        whose slips are counted in any case.
        """
        likelihood = self._doubted((odds or self.odds).likelihood, mistakes)
        weight = 1 - 2 * self.unit.doubt[self.points[mistakes]]
        out = np.empty((*likelihood.shape, 5))
        np.log(likelihood, out=out[..., 0])
        np.multiply(self._counts, weight[:, :, None, None], out=out[..., 1:])
        return out

    def _doubted(self, likelihood: FloatArray, mistakes: IntArray) -> FloatArray:
        """(M, n, A + 2) likelihoods of a good unit's readings, the chart's doubt mixed in."""
        out = np.repeat(likelihood[None], len(mistakes), axis=0)
        mistake, rows = np.ogrid[: len(mistakes), : len(self.cells)]
        out[mistake, rows, self.good[mistakes]] = self._mixed(likelihood, mistakes)
        return out

    def _mixed(self, likelihood: FloatArray, mistakes: IntArray) -> FloatArray:
        """(M, n) likelihoods of a good unit's symbol, the chance that it shows another mixed in."""
        points, rows = self.points[mistakes], np.arange(len(self.cells))
        good, instead, doubt = self.good[mistakes], self.unit.instead[points], self.unit.doubt[points]
        return (1 - doubt) * likelihood[rows, good] + doubt * likelihood[rows, instead]

    @cached_property
    def good(self) -> IntArray:
        """(M, n) symbols of a good unit."""
        return self.unit.symbols[0][self.points].astype(np.int64)

    @cached_property
    def _counts(self) -> FloatArray:
        """(n, A + 2, 4) expected counts of slips and of none, of contacts and of opens."""
        odds, symbol = self.odds, np.arange(self.odds.likelihood.shape[1])
        contact = (symbol != OPEN) & (symbol < self.unit.table.unknown)
        hits, others = odds.slip[..., None], 1 - odds.slip[..., None]
        members = np.stack([contact, contact, symbol == OPEN, symbol == OPEN], axis=1)
        return np.asarray(np.concatenate([hits, others, hits, others], axis=2) * members)

    def under(self, mistake: IntArray, symbols: SmallArray, odds: ReadingOdds | None = None) -> FloatArray:
        """(H,) log likelihood of symbols (H, n), each with its mistake (H,), ascending."""
        sums = np.empty((len(symbols), 5))
        step = max(1, AT_ONCE // max(len(self.cells), 1))
        for at in range(0, len(symbols), step):
            some = slice(at, at + step)
            changes = np.diff(mistake[some], prepend=-1) > 0
            tables = self.tables(mistake[some][changes], odds)
            sums[some] = _sums(tables, np.cumsum(changes) - 1, symbols[some])
        return np.asarray(sums[:, 0] + self.odds.rates.log_gain(*sums[:, 1:].T))

    def at_most(self, mistakes: IntArray) -> tuple[FloatArray, FloatArray]:
        """(M,) bound of the log likelihood of a good unit, and (M, pins) of what a fault at a pin adds to it.

        Slip rates are taken as what suits each reading best, up to MOST_SLIPS; a fault of a line changes only
        readings of that line, for each of which its best symbol is a bound.
        """
        step = max(1, AT_ONCE // max(4 * len(self.cells), 1))
        parts = [self._at_most(mistakes[at : at + step]) for at in range(0, max(len(mistakes), 1), step)]
        bound, pins = zip(*parts, strict=True)
        return np.concatenate(bound), np.concatenate(pins)

    def _at_most(self, mistakes: IntArray) -> tuple[FloatArray, FloatArray]:
        generous, rows = np.maximum(self.odds.likelihood, self._lenient), np.arange(len(self.cells))
        best = generous.argmax(axis=1)
        first = generous[rows, best]
        generous[rows, best] = -np.inf
        second = generous.max(axis=1, initial=-np.inf)
        good = np.maximum(
            self._mixed(self.odds.likelihood, mistakes), self._mixed(self._lenient, mistakes)
        )  # the doubt concerns the symbol of a good unit alone; of the others the best is the best of all
        other = np.where(self.good[mistakes] == best, second, first)
        gain = np.log(np.maximum(other, good) / good)
        pins = self.unit.table.shape.pins
        leads = self.unit.grid.leads[self.points[mistakes]] + np.arange(len(mistakes))[:, None, None] * pins
        added = sum(
            np.bincount(leads[..., side].ravel(), gain.ravel(), len(mistakes) * pins) for side in (0, 1)
        )
        return np.log(good).sum(axis=1), np.reshape(added, (len(mistakes), pins))

    @cached_property
    def _lenient(self) -> FloatArray:
        """(n, A + 2) likelihoods under slip rates that suit the reading best."""
        odds, size = self.odds, self.unit.table.alphabet.size
        mean = np.full(size + 2, odds.miss)
        mean[OPEN], mean[size:] = odds.invent, 0.0
        slipped = odds.likelihood * odds.slip / np.where(mean > 0, mean, 1.0)
        held = odds.likelihood * (1 - odds.slip) / (1 - mean)
        return np.maximum(held, (1 - MOST_SLIPS) * held + MOST_SLIPS * slipped)


def _sums(tables: FloatArray, which: IntArray, symbols: SmallArray) -> FloatArray:
    """(H, 5) sums over readings of tables (M, n, A + 2, 5), `which` (H,) of them, at symbols (H, n).

    A sparse product, which makes no array of (H, n, 5).
    """
    (count, n), size = symbols.shape, tables.shape[2]
    numbers = np.int32 if max(tables.size, symbols.size) < 2**31 else np.int64
    columns = np.arange(0, n * size, size, dtype=numbers) + symbols
    columns += (which * (n * size)).astype(numbers)[:, None]
    starts = np.arange(0, count * n + 1, n, dtype=numbers) if n else np.zeros(count + 1, dtype=numbers)
    flat = tables.reshape(-1, 5)
    chosen = csr_array((np.ones(count * n), columns.ravel(), starts), shape=(count, len(flat)))
    return np.asarray(chosen @ flat)
