"""Which readings of this unit are worth taking next, or again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus import start_positions as start
from consensus.causes import cause_keys
from consensus.check_results import NextReading
from consensus.next_reading import expected_gains, outcome_table
from consensus.predictions import predict
from consensus.results import DesignAgreement
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
    detents = np.array([not shape.slots[p // len(shape.pairs)][1] for p in range(shape.places)])
    cells = place_cells(shape)[detents]
    symbols = predict(explained.units, explained.taken(kept), cells)
    p = explained.p[kept]
    outcomes = outcome_table(explained.tables[0].alphabet, explained.odds.miss, explained.odds.invent)
    verdict_bits = expected_gains(symbols, p, faulty[kept].astype(np.int64), outcomes)
    cause_bits = expected_gains(symbols, p, _cause_classes(explained, kept), outcomes)
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


def _cause_classes(explained: Explained, kept: slice) -> IntArray:
    """Class of each explanation: the set of its causes."""
    return np.unique(cause_keys(explained).at[kept], axis=0, return_inverse=True)[1].ravel()
