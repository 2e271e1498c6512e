"""What units of one pattern show at every point of the grid: a good one, one with each fault, with two."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable
from consensus.contacts import CLOSED, OPEN
from consensus.shape import CONSTANTS
from consensus.unit_grid import Grid, grid_of

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.signedinteger[Any]]

DENSE = 4  # times more symbols than asked for may be looked up where they lie in rows


class UnitTable:
    """Symbols of one variant of a chart under each fault of the grid."""

    def __init__(self, table: ChartTable) -> None:
        self.table = table
        self.grid: Grid = grid_of(table.shape)

    @cached_property
    def by_point(self) -> SmallArray:
        """(points, F) symbols, of as few bytes as they need; the first column is a good unit's."""
        grid, values = self.grid, self.table.values(self.table.symbols)
        small = np.min_scalar_type(-self.table.worn - 1)  # 128 itself does not fit into eight bits
        good = self.table.combined(values, grid.operands).astype(small)
        symbols = np.repeat(good[:, None], len(grid.faults), axis=1)
        symbols[grid.changed_point, grid.changed_fault] = self.table.combined(values, grid.changed)
        return symbols

    @property
    def symbols(self) -> SmallArray:
        """(F, points) the same."""
        return self.by_point.T

    @cached_property
    def after(self) -> IntArray:
        """(F, places) symbols of the pattern of a unit with each fault."""
        return self.symbols[:, self.grid.place_points].astype(np.int64)

    @cached_property
    def doubt(self) -> FloatArray:
        """(points,) chance that a good unit shows something else there."""
        of_source = np.zeros(CONSTANTS + self.table.shape.places)
        of_source[CONSTANTS:] = self.table.doubt
        return np.minimum(of_source[self.grid.operands].sum(axis=1), 0.5)

    @cached_property
    def instead(self) -> IntArray:
        """(points,) what it then most likely is."""
        instead = np.where(self.symbols[0] == OPEN, CLOSED, OPEN).astype(np.int64)
        source, *rest = self.grid.operands.T
        plain = (source >= CONSTANTS) & (np.stack(rest) == np.array([[OPEN], [CLOSED], [OPEN]])).all(axis=0)
        instead[plain] = self.table.other[source[plain] - CONSTANTS]
        return instead

    def shown_with(self, points: IntArray, which: IntArray, first: IntArray) -> SmallArray:
        """(H, n) symbols at row `which` (H,) of points (M, n) of units with faults `first` (H,)."""
        if len(points) * len(self.grid.faults) > DENSE * len(first):
            return self.by_point[points[which], first[:, None]]
        return np.ascontiguousarray(self.by_point[points].transpose(0, 2, 1))[which, first]

    def shown(self, points: IntArray, first: IntArray, second: IntArray | None = None) -> SmallArray:
        """(H, n) symbols at points (n,) of units with faults `first` (H,) and then `second`.

        The second acts on what the first left of the pattern.
        """
        alone = np.ascontiguousarray(self.by_point[points].T)
        if second is None:
            return alone[first]
        entries = self.grid.entries_at(points)
        changes = entries >= 0
        out = np.where(changes[second], alone[second], alone[first])
        # where the second acts on a place that the first has changed, it shows something else than alone
        rows = np.flatnonzero(self._meet(entries)[first, second])
        row, column = np.nonzero(changes[second[rows]])
        firsts, before = np.unique(first[rows], return_inverse=True)
        operands = self.grid.changed[entries[second[rows][row], column]]
        values = self.table.values(self.after[firsts])
        out[rows[row], column] = self.table.combined_rows(values, before[row], operands)
        return out

    def _meet(self, entries: NDArray[np.int32]) -> NDArray[np.bool_]:
        """(F, F) True where the second fault, at points of which these are the entries (F, n), acts on a
        place that the first has changed."""
        fault, column = np.nonzero(entries >= 0)
        reads = np.zeros((len(entries), CONSTANTS + self.table.shape.places), dtype=np.float32)
        reads[fault[:, None], self.grid.changed[entries[fault, column]]] = 1.0
        changed = (self.after != self.after[0]).astype(np.float32)
        return np.asarray(changed @ reads[:, CONSTANTS:].T > 0)


def unit_table(table: ChartTable) -> UnitTable:
    """The units of a chart's variant, worked out once as long as the table lives."""
    if "units" not in table.kept:
        table.kept["units"] = UnitTable(table)
    kept: UnitTable = table.kept["units"]
    return kept


def table_after_faults(table: ChartTable) -> IntArray:
    """(F, places) symbols of the pattern of a unit with each fault of the grid (first: none)."""
    return unit_table(table).after
