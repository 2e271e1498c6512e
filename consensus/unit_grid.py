"""The faults and mistakes that a chart allows, as a grid, with their prior probabilities."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable
from consensus.contacts import OPEN
from consensus.hypotheses import CONSTANTS, Fault, HypothesisSet, Mistake, Shape, enumerate_hypotheses
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

# the order in which faults act on a unit
ORDER = ("none", "worn_contact", "detent_shift", "line_open", "line_closed", "bridged_lines")


@dataclass(frozen=True)
class Grid:
    """Hypotheses of a shape without "unexplained" and resistive common: source (F, M, cells).

    as_read: (F, cells) sources of sheets without a mistake, numbered for as_read_operands; at_common: (M,
    cells) one lead really was on the common, so that whatever is in it is read too.
    """

    mistakes: tuple[Mistake, ...]
    faults: tuple[Fault, ...]
    source: NDArray[np.int32]
    operands: NDArray[np.int32]
    as_read: NDArray[np.int32]
    as_read_operands: NDArray[np.int32]
    at_common: NDArray[np.bool_]


@lru_cache(maxsize=128)
def grid_of(shape: Shape) -> Grid:
    """The hypotheses of a shape as a grid, faults in the order in which they act on a unit."""
    hypotheses: HypothesisSet = enumerate_hypotheses(shape, True)
    count = len(hypotheses.mistakes)
    source = hypotheses.source.reshape(-1, count, shape.cells)
    kept = [at for at, mistake in enumerate(hypotheses.mistakes) if mistake.kind != "unexplained"]
    order = sorted(
        (at for at, fault in enumerate(hypotheses.faults) if fault.kind in ORDER),
        key=lambda at: ORDER.index(hypotheses.faults[at].kind),
    )
    source = source[np.ix_(order, kept)]
    plain = CONSTANTS + shape.places
    used = np.unique(source[:, 0])
    composed = used[used >= plain]
    renumbered = np.where(
        source[:, 0] >= plain, plain + np.searchsorted(composed, source[:, 0]), source[:, 0]
    ).astype(np.int32)
    return Grid(
        mistakes=tuple(hypotheses.mistakes[at] for at in kept),
        faults=tuple(hypotheses.faults[at] for at in order),
        source=source,
        operands=hypotheses.operands,
        as_read=renumbered,
        as_read_operands=np.concatenate([hypotheses.operands[:plain], hypotheses.operands[composed]]),
        at_common=_at_common(shape, source[0]),
    )


def _at_common(shape: Shape, good: NDArray[np.int32]) -> NDArray[np.bool_]:
    """Which sources of a good unit are places at the common: two lines in series pass it by."""
    of_pair = np.array([shape.common in pair for pair in shape.pairs])
    ours = np.concatenate([np.zeros(CONSTANTS, bool), np.tile(of_pair, len(shape.slots))])
    place = good < len(ours)
    return np.asarray(place & ours[np.where(place, good, 0)])


def place_cells(shape: Shape) -> IntArray:
    """(places,) cell of each place of the chart."""
    named_at = {pair: at for at, pair in enumerate(shape.named)}
    pair_cells = np.array([named_at[pair] for pair in shape.pairs], dtype=np.int64)
    return (np.arange(len(shape.slots))[:, None] * len(shape.named) + pair_cells[None, :]).ravel()


@dataclass(frozen=True)
class UnitPriors:
    """Log prior probability of each fault of a grid (F,), none first, and of each mistake (M,)."""

    fault: FloatArray
    mistake: FloatArray
    pair: float  # log probability that a faulty unit has two


def table_after_faults(table: ChartTable) -> IntArray:
    """(F, places) symbols of the pattern of a unit with each fault of the grid (first: none)."""
    grid = grid_of(table.shape)
    symbols = table.shown(grid.as_read_operands, table.symbols)
    after: IntArray = symbols[grid.as_read[:, place_cells(table.shape)]]
    return after


def unit_priors(table: ChartTable, mistakes: dict[str, float], settings: Settings) -> UnitPriors:
    """Priors of a suspect: faults that change nothing on this chart are left out (log 0).

    mistakes: share of sheets by kind.  A kind's share is spread evenly over its members.
    """
    grid = grid_of(table.shape)
    after = table_after_faults(table)
    possible = (after != after[0]).any(axis=1)
    possible &= np.array([not _worn_where_open(fault, table) for fault in grid.faults])
    kinds = np.array([fault.kind for fault in grid.faults])
    fault = np.full(len(kinds), -np.inf)
    fault[0] = np.log(1 - settings.suspect_fault_rate)
    shares = dict(settings.suspect_fault_shares)
    for kind in set(kinds) - {"none"}:
        members = possible & (kinds == kind)
        if members.any():
            fault[members] = np.log(settings.suspect_fault_rate * shares[kind] / members.sum())
    rows = [mistake.kind for mistake in grid.mistakes]
    plain = 1.0 - sum(share for kind, share in mistakes.items() if kind in rows)
    spread = {kind: mistakes.get(kind, 0.0) / rows.count(kind) for kind in set(rows)}
    with np.errstate(divide="ignore"):
        mistake = np.log([plain if kind == "none" else spread[kind] for kind in rows])
    return UnitPriors(fault, mistake, float(np.log(settings.suspect_pair_share)))


def _worn_where_open(fault: Fault, table: ChartTable) -> bool:
    """A contact that is open in the pattern can't be found worn."""
    if fault.kind != "worn_contact":
        return False
    shape = table.shape
    slot = shape.slots.index((fault.positions[0], False))
    pair = shape.pairs.index((fault.pins[0], fault.pins[1]))
    return bool(table.symbols[slot * len(shape.pairs) + pair] == OPEN)
