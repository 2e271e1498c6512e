"""Log likelihood of a sheet under predicted symbols, with what is integrated instead of plugged in.

The doubt about each place of the chart is mixed in; the reader's two slip rates are integrated over the
classes of readers (reader_rates.py): a reader who slips once is likelier to slip again.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import OPEN
from consensus.reading_odds import ReadingOdds
from consensus.unit_table import UnitTable

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

AT_ONCE = 400_000  # readings under as many explanations that are looked up in one go
MOST_SLIPS = 0.3  # nobody's slip rate is above


class SheetLikelihood:
    """Log likelihood of one sheet's readings under arrays of predicted symbols.

    cells: (n,) of the readings; points: (M, n) of the grid, where the leads were under each mistake.
    """

    def __init__(self, unit: UnitTable, cells: IntArray, odds: ReadingOdds) -> None:
        self.unit, self.cells, self.odds = unit, cells, odds
        self.points = unit.grid.touched[:, cells].astype(np.int64)

    def table(self, mistake: int, odds: ReadingOdds | None = None) -> FloatArray:
        """(n, A + 2, 5) what each reading adds under each symbol: its log likelihood, and to the counts of
        contacts missed and shown, opens invented and held.

        Doubt about the chart is mixed in where it is good.  odds: other ones than the sheet's own.
        """
        given = odds or self.odds
        likelihood = self._doubted(given.likelihood, mistake)
        counts = self._counts if odds is None else self._slip_counts(odds)
        weight = 1 - 2 * self.unit.doubt[self.points[mistake]]
        return np.concatenate([np.log(likelihood)[..., None], counts * weight[:, None, None]], axis=2)

    def _doubted(self, likelihood: FloatArray, mistake: int) -> FloatArray:
        """(n, A + 2) likelihoods of a good unit's readings, the chart's doubt mixed in."""
        points, rows = self.points[mistake], np.arange(len(self.cells))
        good, instead = self.unit.symbols[0, points], self.unit.instead[points]
        doubt = self.unit.doubt[points]
        out = likelihood.copy()
        out[rows, good] = (1 - doubt) * likelihood[rows, good] + doubt * likelihood[rows, instead]
        return out

    @cached_property
    def _counts(self) -> FloatArray:
        return self._slip_counts(self.odds)

    def _slip_counts(self, odds: ReadingOdds) -> FloatArray:
        """(n, A + 2, 4) expected counts of slips and of none, of contacts and of opens."""
        symbol = np.arange(odds.likelihood.shape[1])
        contact = (symbol != OPEN) & (symbol < self.unit.table.unknown)
        hits, others = odds.slip[..., None], 1 - odds.slip[..., None]
        members = np.stack([contact, contact, symbol == OPEN, symbol == OPEN], axis=1)
        return np.asarray(np.concatenate([hits, others, hits, others], axis=2) * members)

    def under(self, symbols: IntArray, table: FloatArray) -> FloatArray:
        """(H,) log likelihood of symbols (H, n) by the table (n, A + 2, 5) of the mistake at hand."""
        n, size, _ = table.shape
        flat, offset = table.reshape(n * size, 5), np.arange(n) * size
        step = max(1, AT_ONCE // max(n, 1))
        sums = np.concatenate(
            [
                np.take(flat, symbols[at : at + step] + offset, axis=0).sum(axis=1)
                for at in range(0, max(len(symbols), 1), step)
            ]
        )
        return np.asarray(sums[:, 0] + self.odds.rates.log_gain(*sums[:, 1:].T))

    def at_most(self, mistake: int) -> tuple[float, FloatArray]:
        """Bound of the log likelihood of a good unit, and (pins,) of what a fault at each pin can add to it.

        Slip rates are taken as what suits each reading best, up to MOST_SLIPS; a fault of a line changes only
        readings of that line, for each of which its best symbol is a bound.
        """
        points = self.points[mistake]
        at_means = self._doubted(self.odds.likelihood, mistake)
        generous = np.log(np.maximum(at_means, self._doubted(self._lenient, mistake)))
        good = generous[np.arange(len(points)), self.unit.symbols[0, points]]
        gain = generous.max(axis=1) - good
        pins = np.zeros(self.unit.table.shape.pins)
        for side in (0, 1):
            np.add.at(pins, self.unit.grid.leads[points, side], gain)
        return float(good.sum()), pins

    @cached_property
    def _lenient(self) -> FloatArray:
        """(n, A + 2) likelihoods under slip rates that suit the reading best."""
        odds, size = self.odds, self.unit.table.alphabet.size
        mean = np.full(size + 2, odds.miss)
        mean[OPEN], mean[size:] = odds.invent, 0.0
        slipped = odds.likelihood * odds.slip / np.where(mean > 0, mean, 1.0)
        held = odds.likelihood * (1 - odds.slip) / (1 - mean)
        return np.maximum(held, (1 - MOST_SLIPS) * held + MOST_SLIPS * slipped)
