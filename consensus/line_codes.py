"""The chart as a line code: how positions differ, and what each fault makes the controller see.

Hamming (1950), Bell System Technical Journal 29:147-160: distances and what they detect.  Parity is a
property that is computed here (linear algebra over GF(2)), not a name.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from consensus.chart_table import ChartTable, prepared_chart
from consensus.code_results import CodeStep, FaultEffect, LineCode, ParitySet, PassesFor
from consensus.contacts import OPEN
from consensus.errors import ConsensusError
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.start_positions import start_indices
from consensus.unit_grid import grid_of
from consensus.unit_table import table_after_faults

IntArray = NDArray[np.int64]
MOST_PARITY_LINES = 16  # more lines: only the whole set and a basis are looked at


def hamming_distance(first: Sequence[object], second: Sequence[object]) -> int:
    """Number of places in which two words of one length differ.

    >>> hamming_distance("1011101", "1001001")
    2
    """
    if len(first) != len(second):
        raise ConsensusError(
            "unequal_lengths",
            f"Words of {len(first)} and {len(second)} places have no distance.",
            "Compare words of one length.",
        )
    return sum(a != b for a, b in zip(first, second, strict=True))


def parity_sets(bits: ArrayLike) -> list[tuple[tuple[int, ...], int]]:
    """Sets of columns of `bits` (words, columns) whose sum has the same parity in every word.

    Each as (columns, parity); smallest sets first, and only those that no smaller ones make up together.
    Columns that never change are left out: one line that is always closed is no parity.

    >>> parity_sets([[0, 0, 0], [0, 1, 1], [1, 1, 0], [1, 0, 1]])
    [((0, 1, 2), 0)]
    """
    words = np.asarray(bits, dtype=np.int64)
    moving = [at for at in range(words.shape[1]) if len(set(words[:, at].tolist())) > 1]
    changes = (words[1:, moving] ^ words[:1, moving]) if len(words) > 1 else words[:0, moving]
    null = _null_space(changes)
    if len(null) and len(moving) <= MOST_PARITY_LINES:
        null = _smallest_basis(null)
    found = [tuple(moving[at] for at in np.flatnonzero(row)) for row in null]
    return [(columns, int(words[0, list(columns)].sum() & 1)) for columns in found]


def _null_space(matrix: IntArray) -> list[IntArray]:
    """Basis of the vectors v with matrix @ v = 0 over GF(2), by Gauss-Jordan elimination."""
    rows, columns = matrix.copy() & 1, matrix.shape[1]
    pivots: list[int] = []
    for column in range(columns):
        below = [at for at in range(len(pivots), len(rows)) if rows[at, column]]
        if not below:
            continue
        top = len(pivots)
        rows[[top, below[0]]] = rows[[below[0], top]]
        for at in range(len(rows)):
            if at != top and rows[at, column]:
                rows[at] ^= rows[top]
        pivots.append(column)
    basis = []
    for free in (column for column in range(columns) if column not in pivots):
        vector = np.zeros(columns, dtype=np.int64)
        vector[free] = 1
        for at, pivot in enumerate(pivots):
            vector[pivot] = rows[at, free]
        basis.append(vector)
    return basis


def _smallest_basis(basis: Sequence[IntArray]) -> list[IntArray]:
    """Basis of the same space out of its lightest vectors (greedy is optimal: the vectors form a matroid)."""
    span = [np.zeros_like(basis[0])]
    for vector in basis:
        span += [vector ^ other for other in span]
    chosen: list[IntArray] = []
    reached = {span[0].tobytes()}
    for vector in sorted(span[1:], key=lambda v: (int(v.sum()), [-int(bit) for bit in v])):
        if vector.tobytes() in reached:
            continue
        chosen.append(vector)
        reached |= {(np.frombuffer(other, dtype=np.int64) ^ vector).tobytes() for other in reached}
        if len(chosen) == len(basis):
            break
    return chosen


def line_code(
    chart: DesignAgreement,
    start_positions: Sequence[str] | None = None,
    settings: Settings | None = None,
    variant: int = 0,
) -> LineCode:
    """Distances, parity and the effect of every single fault on one variant of a chart.

    start_positions: labels of the positions that release the starter; None: the chart's own, else those
    labelled P and N (common practice).  Places that nobody has read count as the chart's likeliest guess and
    are listed as unsure.
    """
    settings = settings or Settings()
    if not chart.variants:
        raise ConsensusError("no_chart", f"{chart.design} has no chart yet.", "Wait for its first sheets.")
    table = prepared_chart(chart, settings).tables[variant]
    named = start_positions if start_positions is not None else chart.start_positions
    starts = start_indices(chart.positions, named)
    words = _words(table, table.symbols)
    distances = (words[:, None, :] != words[None, :, :]).sum(axis=-1)
    apart = distances[~np.eye(len(words), dtype=bool)]
    two_state = [at for at in range(words.shape[1]) if set(words[:, at].tolist()) <= {OPEN, 1}]
    sets = parity_sets((words[:, two_state] != OPEN).astype(np.int64)) if two_state else []
    lines = _line_names(chart, table)
    return LineCode(
        design=chart.design,
        variant=table.variant,
        positions=chart.positions,
        lines=tuple(lines),
        start_positions=tuple(chart.positions[at] for at in starts),
        start_known=named is not None,
        distances=tuple(tuple(int(d) for d in row) for row in distances),
        least_distance=int(apart.min()) if apart.size else 0,
        steps=tuple(_step(chart, lines, words, at) for at in range(len(words) - 1)),
        parity=tuple(
            ParitySet(tuple(lines[two_state[at]] for at in columns), odd == 1) for columns, odd in sets
        ),
        effects=tuple(_effects(chart, table, words, starts)),
        unsure=tuple(_unsure(chart, table)),
    )


def _words(table: ChartTable, symbols: IntArray) -> IntArray:
    """(positions, contacts) symbols at the detents; a worn contact as open: so the controller sees it."""
    shape = table.shape
    grid = symbols.reshape(len(shape.slots), len(shape.pairs))
    detents = [at for at, (_, between) in enumerate(shape.slots) if not between]
    return np.where(grid[detents] == table.worn, OPEN, grid[detents])


def _line_names(chart: DesignAgreement, table: ChartTable) -> list[str]:
    """A line by its pin; where there is no common, by both pins."""
    common = table.shape.common
    names = []
    for a, b in table.shape.pairs:
        if common in (a, b):
            names.append(chart.pins[a if b == common else b])
        else:
            names.append(f"{chart.pins[a]}-{chart.pins[b]}")
    return names


def _step(chart: DesignAgreement, lines: Sequence[str], words: IntArray, at: int) -> CodeStep:
    changed = np.flatnonzero(words[at] != words[at + 1])
    return CodeStep(chart.positions[at], chart.positions[at + 1], tuple(lines[int(line)] for line in changed))


def _effects(
    chart: DesignAgreement, table: ChartTable, words: IntArray, starts: Sequence[int]
) -> list[FaultEffect]:
    """What each single fault makes the controller see; dangers first."""
    common = table.shape.common
    after = table_after_faults(table)
    known: dict[bytes, list[int]] = {}
    for position, word in enumerate(words):
        known.setdefault(word.tobytes(), []).append(position)
    found = []
    for fault, symbols in zip(grid_of(table.shape).faults[1:], after[1:], strict=True):
        seen = _words(table, symbols)
        changed = [at for at in range(len(words)) if (seen[at] != words[at]).any()]
        if not changed:
            continue
        noticed = [at for at in changed if seen[at].tobytes() not in known]
        passes = [
            PassesFor(
                chart.positions[at],
                chart.positions[other],
                danger=other in starts and at not in starts,
            )
            for at in changed
            for other in known.get(seen[at].tobytes(), [])
        ]
        found.append(
            FaultEffect(
                cause=fault.kind,
                pins=tuple(chart.pins[pin] for pin in fault.pins if pin != common),
                positions=tuple(chart.positions[row] for row in fault.positions),
                noticed=tuple(chart.positions[at] for at in noticed),
                passes=tuple(passes),
                start_lost=tuple(
                    chart.positions[at]
                    for at in changed
                    if at in starts and not set(known.get(seen[at].tobytes(), [])) & set(starts)
                ),
                detail=fault.detail,
            )
        )
    return sorted(found, key=lambda effect: not effect.danger)


def _unsure(chart: DesignAgreement, table: ChartTable) -> list[tuple[str, str]]:
    """(position, line) of places that the chart itself is unsure of: unread, or p below 0.95."""
    shape = table.shape
    names = _line_names(chart, table)
    return [
        (chart.positions[shape.slots[place // len(shape.pairs)][0]], names[place % len(shape.pairs)])
        for place in range(shape.places)
        if table.doubt[place] > 0.055 and not shape.slots[place // len(shape.pairs)][1]
    ]
