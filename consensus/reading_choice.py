"""Which readings of this unit are worth taking next, or again."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from consensus import start_positions as start
from consensus.causes import cause_keys
from consensus.check_results import NextReading
from consensus.next_reading import expected_gains, outcome_table
from consensus.predictions import predict
from consensus.results import DesignAgreement
from consensus.shape import Shape
from consensus.suspect_sheet import Explained
from consensus.unit_grid import place_cells

IntArray = NDArray[np.int64]

MOST_NEXT = 5
ENOUGH = 150  # explanations looked at for the next reading: the rest weighs nothing


def next_readings(
    explained: Explained,
    chart: DesignAgreement,
    faulty: NDArray[np.bool_],
    dangers: list[tuple[int, int, int]],
) -> tuple[NextReading, ...]:
    """Readings not yet taken, and those worth repeating, that tell most; dangers first."""
    if not len(explained.p):
        return ()
    kept = slice(0, ENOUGH)
    shape = explained.laid.shape
    cells, detents = _detent_cells(shape)
    symbols = _expected(explained, kept, cells)
    p = explained.p[kept]
    outcomes = outcome_table(explained.tables[0].alphabet, explained.odds.miss, explained.odds.invent)
    verdict_bits = expected_gains(symbols, p, faulty[kept].astype(np.int64), outcomes).tolist()
    cause_bits = expected_gains(symbols, p, _cause_classes(explained, kept), outcomes).tolist()
    taken = np.isin(cells, explained.laid.cells)
    excludes = np.zeros(len(cells), dtype=np.int64)
    if dangers:
        table = explained.tables[explained.variant[0]]
        faults = sorted({fault for fault, _, _ in dangers})
        excludes = start.excluding_cells(table, faults)[:, detents].sum(axis=0)
    excludes[taken] = 0
    order = sorted(range(len(cells)), key=lambda c: (-excludes[c], -verdict_bits[c] - 0.2 * cause_bits[c]))
    order = sorted(order[:MOST_NEXT], key=lambda c: (-excludes[c], -verdict_bits[c]))
    return tuple(
        _next_reading(
            chart, explained, int(cells[c]), verdict_bits[c], cause_bits[c], bool(taken[c]), excludes[c]
        )
        for c in order
        if verdict_bits[c] > 1e-4 or cause_bits[c] > 1e-3 or excludes[c]
    )


def _expected(explained: Explained, kept: slice, cells: IntArray) -> IntArray:
    """(H, cells) symbols at the cells; of a sheet that reads just these they are known already."""
    if np.array_equal(cells, explained.laid.cells) and not explained.sweep[kept].any():
        return explained.symbols[kept]
    return predict(explained.units, explained.taken(kept), cells)


def _next_reading(
    chart: DesignAgreement,
    explained: Explained,
    cell: int,
    bits: float,
    bits_cause: float,
    repeat: bool,
    excludes: int,
) -> NextReading:
    shape = explained.laid.shape
    slot, named = divmod(cell, len(shape.named))
    low, high = shape.named[named]
    pin, against = (high, low) if low == shape.common else (low, high)
    position = chart.positions[shape.slots[slot][0]]
    return NextReading(
        position, chart.pins[pin], chart.pins[against], float(bits), float(bits_cause), repeat, int(excludes)
    )


@lru_cache(maxsize=128)
def _detent_cells(shape: Shape) -> tuple[IntArray, NDArray[np.bool_]]:
    """Cells of the chart's places at detents, and which places (places,) those are."""
    detents = np.repeat([not between for _, between in shape.slots], len(shape.pairs))
    return place_cells(shape)[detents], detents


def _cause_classes(explained: Explained, kept: slice) -> IntArray:
    """Class of each explanation: the set of its causes."""
    named = cause_keys(explained, kept)
    base, numbers = len(named.keys) + 1, named.at + 1
    whole = ((numbers[:, 0] * base + numbers[:, 1]) * base + numbers[:, 2]) * base + numbers[:, 3]
    return np.unique(whole, return_inverse=True)[1]
