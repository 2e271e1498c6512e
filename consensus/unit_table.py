"""What units of one pattern show at every point of the grid: a good one, one with each fault, with two."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable
from consensus.contacts import CLOSED, OPEN
from consensus.shape import CONSTANTS
from consensus.unit_grid import Grid, grid_of

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class UnitTable:
    """Symbols of one variant of a chart under each fault of the grid."""

    def __init__(self, table: ChartTable) -> None:
        self.table = table
        self.grid: Grid = grid_of(table.shape)

    @cached_property
    def symbols(self) -> NDArray[np.int16]:
        """(F, points) symbols; the first row is a good unit's."""
        grid, values = self.grid, self.table.values(self.table.symbols)
        symbols = np.repeat(
            self.table.combined(values, grid.operands).astype(np.int16)[None], len(grid.faults), axis=0
        )
        fault = np.repeat(np.arange(len(grid.faults)), np.diff(grid.changes))
        symbols[fault, grid.changed_point] = self.table.combined(values, grid.changed)
        return symbols

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
        instead[self.grid.place_points] = self.table.other
        return instead

    def shown(self, points: IntArray, first: IntArray, second: IntArray | None = None) -> IntArray:
        """(H, n) symbols at points (n,) or (H, n) of units with faults `first` (H,) and then `second`.

        The second acts on what the first left of the pattern.
        """
        rows = np.arange(len(first))[:, None]
        at = np.broadcast_to(points, (len(first), points.shape[-1]))
        out = self.symbols[first[:, None], at].astype(np.int64)
        if second is None:
            return out
        base = self.symbols[0]
        for fault in np.unique(second[second > 0]):
            changes = self.grid.changes_of(int(fault))
            entry = np.full(len(base), -1, dtype=np.int64)
            entry[self.grid.changed_point[changes]] = np.arange(changes.start, changes.stop)
            mine = np.flatnonzero(second == fault)
            entries = entry[at[mine]]
            row, column = np.nonzero(entries >= 0)
            values = self.table.values(self.after[first[mine]])
            operands = self.grid.changed[entries[row, column]]
            out[rows[mine][row, 0], column] = self.table.combined_rows(values, row, operands)
        return out


def unit_table(table: ChartTable) -> UnitTable:
    """The units of a chart's variant, worked out once as long as the table lives."""
    if "units" not in table.kept:
        table.kept["units"] = UnitTable(table)
    kept: UnitTable = table.kept["units"]
    return kept


def table_after_faults(table: ChartTable) -> IntArray:
    """(F, places) symbols of the pattern of a unit with each fault of the grid (first: none)."""
    return unit_table(table).after
