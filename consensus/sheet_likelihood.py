"""Log likelihood of a sheet under predicted symbols, with what is integrated instead of plugged in.

The doubt about each place of the chart is mixed in; the reader's two slip rates are Beta distributed, so that
counts of missed and invented contacts are beta-binomial: a reader who slips once is likelier to slip again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln

from consensus.chart_table import ChartTable
from consensus.contacts import CLOSED, OPEN
from consensus.hypotheses import CONSTANTS
from consensus.reading_odds import ReadingOdds
from consensus.settings import Settings
from consensus.unit_grid import grid_of

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class SheetLikelihood:
    """Log likelihood of one sheet's readings under arrays of predicted symbols."""

    def __init__(self, table: ChartTable, cells: IntArray, odds: ReadingOdds, settings: Settings) -> None:
        self.table, self.cells, self.odds = table, cells, odds
        self.grid = grid_of(table.shape)
        self.symbols = table.shown(self.grid.operands, table.symbols)
        self.doubt, self.other = self._doubts()
        known = settings.suspect_slip_strength
        self.miss = (odds.miss * known, (1 - odds.miss) * known)
        self.invent = (odds.invent * known, (1 - odds.invent) * known)

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

    def log_tables(self, odds: ReadingOdds) -> FloatArray:
        """(M, n, A + 2) log likelihood of each reading, doubt about the chart mixed in where it is good."""
        good = self.symbols[self.grid.source[0][:, self.cells]]
        rows = np.arange(len(self.cells))
        table = np.repeat(odds.likelihood[None], len(good), axis=0)
        mistakes = np.arange(len(good))[:, None]
        mixed = (1 - self.doubt) * odds.likelihood[rows, good] + self.doubt * odds.likelihood[
            rows, self.other
        ]
        table[mistakes, rows, good] = mixed
        return np.log(table)

    def under(self, symbols: IntArray, log_table: FloatArray, doubt: FloatArray) -> FloatArray:
        """Log likelihood of symbols (…, n); log_table (n, A + 2) and doubt (n,) of the mistake at hand."""
        n, size = log_table.shape
        total: FloatArray = np.take(log_table.ravel(), symbols + np.arange(n) * size).sum(axis=-1)
        return total + self._slip_correction(symbols, 1 - 2 * doubt)

    def _slip_correction(self, symbols: IntArray, weight: FloatArray) -> FloatArray:
        """Beta-binomial instead of binomial: log ∫ p^k (1-p)^(n-k) dBeta - log of the same at the mean."""
        opened = (symbols == OPEN).astype(np.float64)
        contact = ((symbols != OPEN) & (symbols < self.table.unknown)).astype(np.float64)
        missed, shown = (
            contact @ (weight * self.odds.shows_open),
            contact @ (weight * self.odds.shows_contact),
        )
        invented, held = opened @ (weight * self.odds.shows_contact), opened @ (weight * self.odds.shows_open)
        return _beta_gain(missed, shown, *self.miss) + _beta_gain(invented, held, *self.invent)


def _beta_gain(hits: FloatArray, others: FloatArray, a: float, b: float) -> FloatArray:
    mean = a / (a + b)
    gain: FloatArray = (
        betaln(a + hits, b + others) - betaln(a, b) - hits * np.log(mean) - others * np.log1p(-mean)
    )
    return gain
