"""All explanations of one sheet: variant × mistake of the reader × faults of the unit.

For each explanation the chart says which symbol every reading should show (hypotheses.py); the likelihood of
the sheet is the product over its readings (sheet_likelihood.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.hypotheses import Fault
from consensus.reading_odds import ReadingOdds
from consensus.sheet_likelihood import SheetLikelihood
from consensus.unit_grid import UnitPriors, table_after_faults

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MARGIN = 4.0  # nats: a fault that fits the sheet this much worse than no fault is not paired with another


@dataclass(frozen=True)
class Block:
    """H explanations of one variant.

    mistake, first, second: (H,) indices into the grid's mistakes and faults (0: none); common: (H,) a
    resistive common besides, ohm: (H,) its Ω where one was read, else nan; harness: (H,) the first fault, a
    line open, lies on the way to the unit; sweep: (H,) the sweep in which alone the first fault, a shifted
    detent, acts (0: in all); log_joint: (H,) log of prior times likelihood; symbols: (H, n) predicted.
    """

    variant: int
    mistake: IntArray
    first: IntArray
    second: IntArray
    common: BoolArray
    ohm: FloatArray
    log_joint: FloatArray
    symbols: IntArray
    harness: BoolArray
    sweep: IntArray


def make_block(
    variant: int,
    mistake: IntArray,
    first: IntArray,
    log_joint: FloatArray,
    symbols: IntArray,
    second: IntArray | None = None,
    ohm: FloatArray | None = None,
    harness: bool = False,
    sweep: IntArray | None = None,
) -> Block:
    """A block, with nothing out of the ordinary unless said."""
    count = len(first)
    none = np.zeros(count, dtype=np.int64)
    return Block(
        variant=variant,
        mistake=mistake,
        first=first,
        second=none if second is None else second,
        common=np.full(count, ohm is not None),
        ohm=np.full(count, np.nan) if ohm is None else ohm,
        log_joint=log_joint,
        symbols=symbols,
        harness=np.full(count, harness),
        sweep=none if sweep is None else sweep,
    )


def single_faults(
    sheet: SheetLikelihood, priors: UnitPriors, variant: int, log_variant: float, odds: ReadingOdds
) -> tuple[Block, FloatArray]:
    """Each fault with each mistake, and the log likelihood (F,) of each fault without a mistake."""
    grid, cells = sheet.grid, sheet.cells
    symbols = sheet.symbols[grid.source[:, :, cells]]  # (F, M, n)
    tables = sheet.tables(odds)
    log_likelihood = np.stack(
        [sheet.under(symbols[:, m], tables[m]) for m in range(len(grid.mistakes))], axis=1
    )
    log_joint = log_likelihood + priors.fault[:, None] + priors.mistake[None, :] + log_variant
    possible = np.isfinite(log_joint)
    first, mistake = np.nonzero(possible)
    block = make_block(variant, mistake, first, log_joint[possible], symbols[possible])
    return block, log_likelihood[:, 0]


def harness_faults(block: Block, sheet: SheetLikelihood, priors: UnitPriors, share: float) -> Block:
    """A line broken between plug and unit: it reads as a line open in the unit does, and the unit is good."""
    kinds = np.array([fault.kind for fault in sheet.grid.faults])
    rows = np.flatnonzero(kinds[block.first] == "line_open")
    lines = max(int((kinds == "line_open").sum()), 1)
    log_prior = priors.fault[0] + np.log(share / lines)
    log_joint = block.log_joint[rows] - priors.fault[block.first[rows]] + log_prior
    return make_block(
        block.variant, block.mistake[rows], block.first[rows], log_joint, block.symbols[rows], harness=True
    )


def one_sweep_faults(
    sheet: SheetLikelihood,
    priors: UnitPriors,
    variant: int,
    log_variant: float,
    odds: ReadingOdds,
    sweeps: IntArray,
    share: float,
) -> Block:
    """Detents that slip in one sweep only, on sheets without a mistake; sweeps: (n,) of each reading."""
    kinds = np.array([fault.kind for fault in sheet.grid.faults])
    shifts = np.flatnonzero((kinds == "detent_shift") & np.isfinite(priors.fault))
    distinct = np.unique(sweeps)
    first, sweep = (side.ravel() for side in np.meshgrid(shifts, distinct, indexing="ij"))
    as_read = sheet.symbols[sheet.grid.source[:, 0, sheet.cells]]
    symbols = np.where(sweeps[None, :] == sweep[:, None], as_read[first], as_read[0])
    log_prior = priors.fault[first] + priors.mistake[0] + log_variant + np.log(share / len(distinct))
    log_joint = sheet.under(symbols, sheet.tables(odds)[0]) + log_prior
    return make_block(variant, np.zeros_like(first), first, log_joint, symbols, sweep=sweep)


def fault_pairs(
    sheet: SheetLikelihood,
    priors: UnitPriors,
    variant: int,
    log_variant: float,
    odds: ReadingOdds,
    alone: FloatArray,
) -> Block:
    """Plausible pairs of faults on sheets without a mistake; `alone`: (F,) log likelihood of each by itself.

    The first of a pair acts on the table, the second on what the first left (ORDER).  A fault that the sheet
    speaks against by more than MARGIN is not paired: what contradicts it stays contradicted.
    """
    grid, table = sheet.grid, sheet.table
    likely = np.flatnonzero((alone >= alone[0] - MARGIN) & np.isfinite(priors.fault))
    likely = likely[likely > 0]
    first, second = (side.ravel() for side in np.meshgrid(likely, likely, indexing="ij"))
    kept = [f < s and _plausible(grid.faults[f], grid.faults[s]) for f, s in zip(first, second, strict=True)]
    first, second = first[np.array(kept, bool)], second[np.array(kept, bool)]
    log_even = np.log(-np.expm1(priors.fault[0]))  # of all faults together
    after = table_after_faults(table)
    symbols_after = table.shown(grid.as_read_operands, after)
    symbols = symbols_after[first[:, None], grid.as_read[second][:, sheet.cells]]
    log_joint = sheet.under(symbols, sheet.tables(odds)[0]) + log_variant + priors.mistake[0]
    log_joint = log_joint + priors.pair + priors.fault[first] + priors.fault[second] - log_even + np.log(2)
    return make_block(variant, np.zeros_like(first), first, log_joint, symbols, second=second)


def _plausible(first: Fault, second: Fault) -> bool:
    """Two faults that can be told as two: not the same line twice, not two shifts."""
    if first.kind == second.kind == "detent_shift":
        return False
    on_line = {"line_open", "line_closed", "worn_contact"}
    shared = set(first.pins) & set(second.pins)
    if first.kind in on_line and second.kind in on_line:
        one, other = set(first.pins), set(second.pins)
        return first.kind == second.kind == "worn_contact" or not (one <= other or other <= one)
    return not (first.kind == second.kind == "bridged_lines" and bool(shared))
