"""All explanations of one sheet: variant × mistake of the reader × faults of the unit.

For each explanation the chart says which symbol every reading should show (unit_table.py); the likelihood
of the sheet is the product over its readings (sheet_likelihood.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.shape import Shape
from consensus.sheet_likelihood import AT_ONCE, SheetLikelihood
from consensus.unit_grid import Grid, grid_of
from consensus.unit_priors import UnitPriors

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
SmallArray = NDArray[np.signedinteger[Any]]

MARGIN = 4.0  # nats: a fault that fits the sheet this much worse than no fault is not paired with another
HOPELESS = 30.0  # nats below the best: an explanation that can't come nearer is not looked at
MOST_PAIRED = 4_000_000  # readings under pairs of faults: of more, the likeliest faults are paired


@dataclass(frozen=True)
class Block:
    """H explanations of one variant.

    mistake, first, second: (H,) indices into the grid's mistakes and faults (0: none); common: (H,) a
    resistive common besides, ohm: (H,) its Ω where one was read, else nan; harness: (H,) the first fault, a
    line open, lies on the way to the unit; sweep: (H,) the sweep in which alone the first fault, a shifted
    detent, acts (0: in all); log_joint: (H,) log of prior times likelihood; symbols: (H, n) what the readings
    then show, None where that is to be worked out anew (predictions.py) for those that matter.
    """

    variant: int
    mistake: IntArray
    first: IntArray
    second: IntArray
    common: BoolArray
    ohm: FloatArray
    log_joint: FloatArray
    harness: BoolArray
    sweep: IntArray
    symbols: SmallArray | None = None


def make_block(
    variant: int,
    mistake: IntArray,
    first: IntArray,
    log_joint: FloatArray,
    second: IntArray | None = None,
    ohm: FloatArray | None = None,
    harness: bool = False,
    sweep: IntArray | None = None,
    symbols: SmallArray | None = None,
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
        harness=np.full(count, harness),
        sweep=none if sweep is None else sweep,
        symbols=symbols,
    )


def single_faults(
    sheet: SheetLikelihood, priors: UnitPriors, variant: int, log_variant: float
) -> tuple[Block, FloatArray]:
    """Each fault with each mistake, and the log likelihood (F,) of each fault without a mistake.

    With a mistake, only what `_hopeful` leaves is looked at: what can't come within HOPELESS of the best is
    not.
    """
    first = np.flatnonzero(np.isfinite(priors.fault))
    none = np.zeros_like(first)
    alone = np.full(len(priors.fault), -np.inf)
    plain = sheet.unit.shown(sheet.points[0], first)
    alone[first] = sheet.under(none, plain)
    hopeful = _hopeful(sheet, priors, first, float((alone + priors.fault).max() + priors.mistake[0]))
    mistake, at = np.nonzero(hopeful)
    with_mistake, symbols = _under_mistakes(sheet, mistake, first[at])
    mistake, fault = np.concatenate([none, mistake]), np.concatenate([first, first[at]])
    log_joint = np.concatenate([alone[first], with_mistake])
    log_joint = log_joint + priors.fault[fault] + priors.mistake[mistake] + log_variant
    whole = None if symbols is None else np.concatenate([plain, symbols])
    return make_block(variant, mistake, fault, log_joint, symbols=whole), alone


def _under_mistakes(
    sheet: SheetLikelihood, mistake: IntArray, fault: IntArray
) -> tuple[FloatArray, SmallArray | None]:
    """(H,) log likelihood of faults with mistakes, ascending by mistake, and what the readings show; of many
    some at a time, and what they show is not kept."""
    out, symbols = np.empty(len(fault)), None
    step = max(1, AT_ONCE // max(len(sheet.cells), 1))
    for at in range(0, len(fault), step):
        some = slice(at, at + step)
        symbols = sheet.unit.shown_with(sheet.points, mistake[some], fault[some])
        out[some] = sheet.under(mistake[some], symbols)
    if symbols is None:
        symbols = np.empty((0, len(sheet.cells)), dtype=np.int8)
    return out, symbols if len(symbols) == len(fault) else None


def _hopeful(sheet: SheetLikelihood, priors: UnitPriors, faults: IntArray, best: float) -> BoolArray:
    """(M, faults) True where a fault with a mistake may still matter, none without; best: log joint of the
    best without one."""
    grid = sheet.unit.grid
    usable = np.flatnonzero(np.isfinite(priors.mistake))[1:]
    hopeful = np.zeros((len(grid.mistakes), len(faults)), dtype=bool)
    member = grid.fault_lines[faults].astype(np.float64)
    everywhere = grid.kinds[faults] == "detent_shift"
    bound, pins = sheet.at_most(usable)
    most = bound[:, None] + np.where(everywhere, np.inf, pins @ member.T)
    most = most + priors.fault[faults] + priors.mistake[usable, None]
    hopeful[usable] = most >= best - HOPELESS
    return hopeful


def harness_faults(block: Block, sheet: SheetLikelihood, priors: UnitPriors, share: float) -> Block:
    """A line broken between plug and unit: it reads as a line open in the unit does, and the unit is good."""
    kinds = sheet.unit.grid.kinds
    rows = np.flatnonzero(kinds[block.first] == "line_open")
    lines = max(int((kinds == "line_open").sum()), 1)
    log_prior = priors.fault[0] + np.log(share / lines)
    log_joint = block.log_joint[rows] - priors.fault[block.first[rows]] + log_prior
    symbols = None if block.symbols is None else block.symbols[rows]
    return make_block(
        block.variant, block.mistake[rows], block.first[rows], log_joint, harness=True, symbols=symbols
    )


def one_sweep_faults(
    sheet: SheetLikelihood,
    priors: UnitPriors,
    variant: int,
    log_variant: float,
    sweeps: IntArray,
    share: float,
) -> Block:
    """Detents that slip in one sweep only, on sheets without a mistake; sweeps: (n,) of each reading."""
    kinds = sheet.unit.grid.kinds
    shifts = np.flatnonzero((kinds == "detent_shift") & np.isfinite(priors.fault))
    distinct = np.unique(sweeps)
    first, sweep = (side.ravel() for side in np.meshgrid(shifts, distinct, indexing="ij"))
    symbols = sheet.unit.shown(sheet.points[0], first)
    good = sheet.good[0]
    symbols = np.where(sweeps[None, :] == sweep[:, None], symbols, good)
    log_prior = priors.fault[first] + priors.mistake[0] + log_variant + np.log(share / len(distinct))
    log_joint = sheet.under(np.zeros_like(first), symbols) + log_prior
    return make_block(variant, np.zeros_like(first), first, log_joint, sweep=sweep, symbols=symbols)


def fault_pairs(
    sheet: SheetLikelihood, priors: UnitPriors, variant: int, log_variant: float, alone: FloatArray
) -> Block:
    """Plausible pairs of faults on sheets without a mistake; `alone`: (F,) log likelihood of each by itself.

    The first of a pair acts on the pattern, the second on what the first left (ORDER).  A fault that the
    sheet speaks against by more than MARGIN is not paired: what contradicts it stays contradicted.
    """
    likely = np.flatnonzero((alone >= alone[0] - MARGIN) & np.isfinite(priors.fault))
    likely = likely[likely > 0]
    most = int(np.sqrt(2 * MOST_PAIRED / max(len(sheet.cells), 1)))
    if len(likely) > most:
        likely = np.sort(likely[np.argsort(-(alone + priors.fault)[likely], kind="stable")[:most]])
    first, second = plausible_pairs(sheet.unit.grid, likely)
    log_even = np.log(-np.expm1(priors.fault[0]))  # of all faults together
    symbols = sheet.unit.shown(sheet.points[0], first, second)
    log_likelihood = sheet.under(np.zeros_like(first), symbols)
    log_joint = log_likelihood + log_variant + priors.mistake[0]
    log_joint = log_joint + priors.pair + priors.fault[first] + priors.fault[second] - log_even + np.log(2)
    return make_block(variant, np.zeros_like(first), first, log_joint, second=second, symbols=symbols)


def plausible_pairs(grid: Grid, likely: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs of faults, of `likely` ones, that can be told as two: not the same line twice, not two shifts."""
    at, other = np.nonzero(_plausible(grid.shape)[np.ix_(likely, likely)])
    return likely[at], likely[other]


@lru_cache(maxsize=32)
def _plausible(shape: Shape) -> BoolArray:
    """(F, F) the same of all pairs, the lower fault first."""
    grid = grid_of(shape)
    kinds, pins = grid.kinds, np.zeros((len(grid.faults), shape.pins), dtype=np.float32)
    for row, fault in enumerate(grid.faults):
        pins[row, list(fault.pins)] = 1.0
    shared, size = pins @ pins.T, pins.sum(axis=1)
    within = (shared == size) | (shared == size[:, None])
    line = np.isin(kinds, ("line_open", "line_closed", "worn_contact"))

    def both(kind: str) -> BoolArray:
        return np.asarray((kinds == kind)[:, None] & (kinds == kind))

    twice = line[:, None] & line & within & ~both("worn_contact")
    kept = ~twice & ~both("detent_shift") & ~(both("bridged_lines") & (shared > 0))
    return np.triu(kept, 1)
