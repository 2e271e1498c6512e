"""Which single faults could make another position pass for one that releases the starter.

A unit is not called good before the readings are in that exclude them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable
from consensus.contacts import OPEN
from consensus.unit_grid import grid_of, place_cells
from consensus.unit_table import table_after_faults

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

BY_CUSTOM = ("P", "N")  # the starter is released in park and neutral only: common practice


def start_indices(positions: Sequence[str], named: Sequence[str] | None) -> tuple[int, ...]:
    """Indices of the start positions: as named, else those labelled P and N (common practice).

    >>> start_indices(("P", "R", "N", "D"), None)
    (0, 2)
    """
    labels = BY_CUSTOM if named is None else tuple(named)
    return tuple(
        at for at, label in enumerate(positions) if label.strip().upper() in labels or label in labels
    )


def passing_faults(table: ChartTable, starts: Sequence[int]) -> list[tuple[int, int, int]]:
    """(fault of the grid, position, start position that it reads as) of each dangerous single fault.

    A worn contact counts as open.  Two positions that already read alike are the chart's own affair.
    """
    rows = _patterns(table)
    good = rows[0]
    found = []
    for start in starts:
        alike = (rows[1:] == good[start]).all(axis=2)  # (faults, positions)
        alike &= ~(good == good[start]).all(axis=1)
        alike[:, list(starts)] = False
        found += [(int(fault) + 1, int(position), start) for fault, position in np.argwhere(alike)]
    return sorted(found)


def _patterns(table: ChartTable) -> IntArray:
    """(F, positions, pairs) symbols at the detents; a worn contact as open."""
    shape = table.shape
    after = table_after_faults(table)
    after = np.where(after == table.worn, OPEN, after)
    detents = [at for at, (_, between) in enumerate(shape.slots) if not between]
    return after.reshape(len(after), len(shape.slots), len(shape.pairs))[:, detents]


def excluding_cells(table: ChartTable, faults: Sequence[int]) -> BoolArray:
    """(faults, places) True where a reading would tell the fault from a good unit."""
    after = table_after_faults(table)
    return np.asarray(after[list(faults)] != after[0])


def place_of_cell(table: ChartTable) -> dict[int, int]:
    """Cell of a sheet: place of the chart."""
    return {int(cell): place for place, cell in enumerate(place_cells(table.shape))}


def fault_kinds(table: ChartTable) -> list[str]:
    """Kind of each fault of the grid."""
    return [fault.kind for fault in grid_of(table.shape).faults]
