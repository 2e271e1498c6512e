"""Log likelihood of a sheet under predicted symbols, with what is integrated instead of plugged in.

The doubt about each place of the chart is mixed in; the reader's two slip rates are integrated over the
classes of readers (reader_rates.py): a reader who slips once is likelier to slip again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable
from consensus.contacts import CLOSED, OPEN
from consensus.hypotheses import CONSTANTS
from consensus.reading_odds import ReadingOdds
from consensus.unit_grid import grid_of

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class SheetLikelihood:
    """Log likelihood of one sheet's readings under arrays of predicted symbols."""

    def __init__(self, table: ChartTable, cells: IntArray, odds: ReadingOdds) -> None:
        self.table, self.cells, self.odds = table, cells, odds
        self.grid = grid_of(table.shape)
        self.symbols = table.shown(self.grid.operands, table.symbols)
        self.doubt, self.other = self._doubts()

    def _doubts(self) -> tuple[FloatArray, IntArray]:
        """(M, n) doubt about what each mistake shows on a good unit, and the symbol it would be instead."""
        table, grid = self.table, self.grid
        plain = CONSTANTS + table.shape.places
        of_source = np.zeros(len(grid.operands))
        of_source[CONSTANTS:plain] = table.doubt
        of_source[plain:] = of_source[:plain][grid.operands[plain:]].sum(axis=1)
        instead = np.where(self.symbols == OPEN, CLOSED, OPEN)
        instead[CONSTANTS:plain] = table.other
        source = grid.source[0][:, self.cells]
        return np.minimum(of_source[source], 0.5), instead[source]

    def tables(self, odds: ReadingOdds) -> FloatArray:
        """(M, n, A + 2, 5) what each reading adds under each symbol: its log likelihood, and to the counts of
        contacts missed and shown, opens invented and held.  Doubt about the chart is mixed in where it is
        good."""
        good = self.symbols[self.grid.source[0][:, self.cells]]
        rows = np.arange(len(self.cells))
        likelihood = np.repeat(odds.likelihood[None], len(good), axis=0)
        mistakes = np.arange(len(good))[:, None]
        mixed = (1 - self.doubt) * odds.likelihood[rows, good]
        mixed += self.doubt * odds.likelihood[rows, self.other]
        likelihood[mistakes, rows, good] = mixed
        weight = (1 - 2 * self.doubt)[:, :, None, None]
        counts = self._slip_counts(odds)[None] * weight
        return np.concatenate([np.log(likelihood)[..., None], counts], axis=3)

    def _slip_counts(self, odds: ReadingOdds) -> FloatArray:
        """(n, A + 2, 4) expected counts of slips and of none, of contacts and of opens."""
        symbol = np.arange(odds.likelihood.shape[1])
        contact = (symbol != OPEN) & (symbol < self.table.unknown)
        hits, others = odds.slip[..., None], 1 - odds.slip[..., None]
        members = np.stack([contact, contact, symbol == OPEN, symbol == OPEN], axis=1)
        return np.asarray(np.concatenate([hits, others, hits, others], axis=2) * members)

    def under(self, symbols: IntArray, table: FloatArray) -> FloatArray:
        """Log likelihood of symbols (…, n) by the table (n, A + 2, 5) of the mistake at hand."""
        n, size, _ = table.shape
        sums = np.take(table.reshape(n * size, 5), symbols + np.arange(n) * size, axis=0).sum(axis=-2)
        gain = self.odds.rates.log_gain(*np.moveaxis(sums[..., 1:], -1, 0))
        return np.asarray(sums[..., 0] + gain)
