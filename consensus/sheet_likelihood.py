"""Log likelihood of a sheet under predicted symbols, with what is integrated instead of plugged in.

The doubt about each place of the chart is mixed in; the reader's two slip rates are integrated over the
classes of readers (reader_rates.py): a reader who slips once is likelier to slip again.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from consensus.contacts import OPEN
from consensus.reading_odds import ReadingOdds
from consensus.unit_table import UnitTable

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

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
        points = self.points[mistakes]
        good, instead, doubt = self.good[mistakes], self.unit.instead[points], self.unit.doubt[points]
        out = np.repeat(likelihood[None], len(mistakes), axis=0)
        rows = np.arange(len(self.cells))
        mixed = (1 - doubt) * likelihood[rows, good] + doubt * likelihood[rows, instead]
        np.put_along_axis(out, good[..., None], mixed[..., None], axis=2)
        return out

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

    def under(self, mistake: IntArray, symbols: IntArray, odds: ReadingOdds | None = None) -> FloatArray:
        """(H,) log likelihood of symbols (H, n), each with its mistake (H,), ascending."""
        sums = np.empty((len(symbols), 5))
        step = max(1, AT_ONCE // max(len(self.cells), 1))
        for at in range(0, len(symbols), step):
            some = slice(at, at + step)
            mistakes, which = np.unique(mistake[some], return_inverse=True)
            sums[some] = _sums(self.tables(mistakes, odds), which, symbols[some])
        return np.asarray(sums[:, 0] + self.odds.rates.log_gain(*sums[:, 1:].T))

    def at_most(self, mistakes: IntArray) -> tuple[FloatArray, FloatArray]:
        """(M,) bound of the log likelihood of a good unit, and (M, pins) of what a fault at a pin adds to it.

        Slip rates are taken as what suits each reading best, up to MOST_SLIPS; a fault of a line changes only
        readings of that line, for each of which its best symbol is a bound.
        """
        bound, pins = np.empty(len(mistakes)), np.zeros((len(mistakes), self.unit.table.shape.pins))
        for at, mistake in enumerate(mistakes):
            one = mistakes[at : at + 1]
            generous = np.maximum(self._doubted(self.odds.likelihood, one), self._doubted(self._lenient, one))
            good = np.take_along_axis(generous[0], self.good[mistake][:, None], axis=1)[:, 0]
            gain = np.log(generous[0].max(axis=1) / good)
            bound[at] = np.log(good).sum()
            for lead in self.unit.grid.leads[self.points[mistake]].T:
                pins[at] += np.bincount(lead, gain, pins.shape[1])
        return bound, pins

    @cached_property
    def _lenient(self) -> FloatArray:
        """(n, A + 2) likelihoods under slip rates that suit the reading best."""
        odds, size = self.odds, self.unit.table.alphabet.size
        mean = np.full(size + 2, odds.miss)
        mean[OPEN], mean[size:] = odds.invent, 0.0
        slipped = odds.likelihood * odds.slip / np.where(mean > 0, mean, 1.0)
        held = odds.likelihood * (1 - odds.slip) / (1 - mean)
        return np.maximum(held, (1 - MOST_SLIPS) * held + MOST_SLIPS * slipped)


def _sums(tables: FloatArray, which: IntArray, symbols: IntArray) -> FloatArray:
    """(H, 5) sums over readings of tables (M, n, A + 2, 5), `which` (H,) of them, at symbols (H, n).

    A sparse product, which makes no array of (H, n, 5).
    """
    (count, n), size = symbols.shape, tables.shape[2]
    columns = symbols + (which[:, None] * n + np.arange(n)) * size
    starts = np.arange(count + 1) * n
    flat = tables.reshape(-1, 5)
    chosen = csr_array((np.ones(count * n), columns.ravel(), starts), shape=(count, len(flat)))
    return np.asarray(chosen @ flat)
