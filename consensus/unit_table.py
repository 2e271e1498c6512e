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
        source, *rest = self.grid.operands.T
        plain = (source >= CONSTANTS) & (np.stack(rest) == np.array([[OPEN], [CLOSED], [OPEN]])).all(axis=0)
        instead[plain] = self.table.other[source[plain] - CONSTANTS]
        return instead

    def shown(self, points: IntArray, first: IntArray, second: IntArray | None = None) -> IntArray:
        """(H, n) symbols at points (n,) or (H, n) of units with faults `first` (H,) and then `second`.

        The second acts on what the first left of the pattern.
        """
        at = np.broadcast_to(points, (len(first), points.shape[-1]))
        out = self.symbols[first[:, None], at].astype(np.int64)
        if second is None:
            return out
        paired = np.flatnonzero(second > 0)
        if not len(paired):
            return out
        seconds, which = np.unique(second[paired], return_inverse=True)
        entries = self._entries(seconds)[which[:, None], at[paired]]
        row, column = np.nonzero(entries >= 0)
        firsts, before = np.unique(first[paired], return_inverse=True)
        values = self.table.values(self.after[firsts])
        operands = self.grid.changed[entries[row, column]]
        out[paired[row], column] = self.table.combined_rows(values, before[row], operands)
        return out

    def _entries(self, faults: IntArray) -> NDArray[np.int32]:
        """(faults, points) entry of the grid's changes at each point, -1 where the fault changes nothing."""
        entries = np.full((len(faults), self.symbols.shape[1]), -1, dtype=np.int32)
        for at, fault in enumerate(faults):
            changes = self.grid.changes_of(int(fault))
            entries[at, self.grid.changed_point[changes]] = np.arange(changes.start, changes.stop)
        return entries


def unit_table(table: ChartTable) -> UnitTable:
    """The units of a chart's variant, worked out once as long as the table lives."""
    if "units" not in table.kept:
        table.kept["units"] = UnitTable(table)
    kept: UnitTable = table.kept["units"]
    return kept


def table_after_faults(table: ChartTable) -> IntArray:
    """(F, places) symbols of the pattern of a unit with each fault of the grid (first: none)."""
    return unit_table(table).after
