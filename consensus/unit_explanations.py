"""All explanations of one sheet: variant × mistake of the reader × faults of the unit.

For each explanation the chart says which symbol every reading should show (hypotheses.py); the likelihood of
the sheet is the product over its readings.  Two things are integrated instead of plugged in: the doubt about
each place of the chart, and the reader's two slip rates, which are Beta distributed (beta-binomial counts of
missed and invented contacts: a reader who slips once is likelier to slip again).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln

from consensus.chart_table import ChartTable
from consensus.contacts import CLOSED, OPEN
from consensus.hypotheses import (
    CONSTANTS,
    Fault,
    HypothesisSet,
    Mistake,
    Shape,
    enumerate_hypotheses,
)
from consensus.reading_odds import ReadingOdds
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ORDER = ("none", "worn_contact", "detent_shift", "line_open", "line_closed", "bridged_lines")
MARGIN = 4.0  # nats: a fault that fits the sheet this much worse than no fault is not paired with another


@dataclass(frozen=True)
class Block:
    """H explanations of one variant.

    mistake, first, second: (H,) indices into the grid's mistakes and faults (0: none); common: (H,) a
    resistive common besides; harness: (H,) the first fault, a line open, lies on the way to the unit; sweep:
    (H,) the sweep in which alone the first fault, a shifted detent, acts (0: in all); log_joint: (H,) log of
    prior times likelihood; symbols: (H, n) predicted.
    """

    variant: int
    mistake: IntArray
    first: IntArray
    second: IntArray
    common: BoolArray
    log_joint: FloatArray
    symbols: IntArray
    harness: BoolArray
    sweep: IntArray


def _block(
    variant: int,
    mistake: IntArray,
    first: IntArray,
    log_joint: FloatArray,
    symbols: IntArray,
    second: IntArray | None = None,
    common: bool = False,
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
        common=np.full(count, common),
        log_joint=log_joint,
        symbols=symbols,
        harness=np.full(count, harness),
        sweep=none if sweep is None else sweep,
    )


@dataclass(frozen=True)
class Grid:
    """Hypotheses of a shape without "unexplained" and resistive common: source (F, M, cells)."""

    mistakes: tuple[Mistake, ...]
    faults: tuple[Fault, ...]
    source: NDArray[np.int32]
    operands: NDArray[np.int32]
    as_read: NDArray[
        np.int32
    ]  # (F, cells) sources of sheets without a mistake, numbered for as_read_operands
    as_read_operands: NDArray[np.int32]


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
    )


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


class SheetLikelihood:
    """Log likelihood of one sheet's readings under arrays of predicted symbols."""

    def __init__(self, table: ChartTable, cells: IntArray, odds: ReadingOdds, settings: Settings) -> None:
        self.table, self.cells, self.odds = table, cells, odds
        self.grid = grid_of(table.shape)
        self.symbols = table.shown(self.grid.operands, table.symbols)
        self.doubt, self.other = self._doubts()
        known = settings.suspect_slip_strength
        self.miss = (odds.miss * known, (1 - odds.miss) * known)
        self.invent = (odds.invent * known, (1 - odds.invent) * known)

    def _doubts(self) -> tuple[FloatArray, IntArray]:
        """(M, n) doubt about what each mistake shows on a good unit, and the symbol it would be instead."""
        table, grid = self.table, self.grid
        plain = CONSTANTS + table.shape.places
        of_source = np.zeros(len(grid.operands))
        of_source[CONSTANTS:plain] = table.doubt
        of_source[plain:] = of_source[:plain][grid.operands[plain:]].sum(axis=1)
        instead = np.where(self.symbols == OPEN, CLOSED, OPEN)
        instead[CONSTANTS:plain] = table.other
        source = grid.source[0][:, self.cells]
        return np.minimum(of_source[source], 0.5), instead[source]

    def log_tables(self, odds: ReadingOdds) -> FloatArray:
        """(M, n, A + 2) log likelihood of each reading, doubt about the chart mixed in where it is good."""
        good = self.symbols[self.grid.source[0][:, self.cells]]
        rows = np.arange(len(self.cells))
        table = np.repeat(odds.likelihood[None], len(good), axis=0)
        mistakes = np.arange(len(good))[:, None]
        mixed = (1 - self.doubt) * odds.likelihood[rows, good] + self.doubt * odds.likelihood[
            rows, self.other
        ]
        table[mistakes, rows, good] = mixed
        return np.log(table)

    def under(self, symbols: IntArray, log_table: FloatArray, doubt: FloatArray) -> FloatArray:
        """Log likelihood of symbols (…, n); log_table (n, A + 2) and doubt (n,) of the mistake at hand."""
        n, size = log_table.shape
        total: FloatArray = np.take(log_table.ravel(), symbols + np.arange(n) * size).sum(axis=-1)
        return total + self._slip_correction(symbols, 1 - 2 * doubt)

    def _slip_correction(self, symbols: IntArray, weight: FloatArray) -> FloatArray:
        """Beta-binomial instead of binomial: log ∫ p^k (1-p)^(n-k) dBeta - log of the same at the mean."""
        opened = (symbols == OPEN).astype(np.float64)
        contact = ((symbols != OPEN) & (symbols < self.table.unknown)).astype(np.float64)
        missed, shown = (
            contact @ (weight * self.odds.shows_open),
            contact @ (weight * self.odds.shows_contact),
        )
        invented, held = opened @ (weight * self.odds.shows_contact), opened @ (weight * self.odds.shows_open)
        return _beta_gain(missed, shown, *self.miss) + _beta_gain(invented, held, *self.invent)


def _beta_gain(hits: FloatArray, others: FloatArray, a: float, b: float) -> FloatArray:
    mean = a / (a + b)
    gain: FloatArray = (
        betaln(a + hits, b + others) - betaln(a, b) - hits * np.log(mean) - others * np.log1p(-mean)
    )
    return gain


def single_faults(
    sheet: SheetLikelihood, priors: UnitPriors, variant: int, log_variant: float, odds: ReadingOdds
) -> tuple[Block, FloatArray]:
    """Each fault with each mistake, and the log likelihood (F,) of each fault without a mistake."""
    grid, cells = sheet.grid, sheet.cells
    symbols = sheet.symbols[grid.source[:, :, cells]]  # (F, M, n)
    tables = sheet.log_tables(odds)
    log_likelihood = np.stack(
        [sheet.under(symbols[:, m], tables[m], sheet.doubt[m]) for m in range(len(grid.mistakes))], axis=1
    )
    log_joint = log_likelihood + priors.fault[:, None] + priors.mistake[None, :] + log_variant
    possible = np.isfinite(log_joint)
    first, mistake = np.nonzero(possible)
    block = _block(variant, mistake, first, log_joint[possible], symbols[possible])
    return block, log_likelihood[:, 0]


def harness_faults(block: Block, sheet: SheetLikelihood, priors: UnitPriors, share: float) -> Block:
    """A line broken between plug and unit: it reads as a line open in the unit does, and the unit is good."""
    kinds = np.array([fault.kind for fault in sheet.grid.faults])
    rows = np.flatnonzero(kinds[block.first] == "line_open")
    lines = max(int((kinds == "line_open").sum()), 1)
    log_prior = priors.fault[0] + np.log(share / lines)
    log_joint = block.log_joint[rows] - priors.fault[block.first[rows]] + log_prior
    return _block(
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
    log_joint = sheet.under(symbols, sheet.log_tables(odds)[0], sheet.doubt[0]) + log_prior
    return _block(variant, np.zeros_like(first), first, log_joint, symbols, sweep=sweep)


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
    log_table = sheet.log_tables(odds)[0]
    log_joint = sheet.under(symbols, log_table, sheet.doubt[0]) + log_variant + priors.mistake[0]
    log_joint = log_joint + priors.pair + priors.fault[first] + priors.fault[second] - log_even + np.log(2)
    return _block(variant, np.zeros_like(first), first, log_joint, symbols, second=second)


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


def resistive_commons(
    sheet: SheetLikelihood,
    priors: UnitPriors,
    variant: int,
    log_variant: float,
    odds_added: ReadingOdds,
    settings: Settings,
) -> Block:
    """A resistance in the common, alone or with one other fault, with each mistake.

    odds_added: likelihoods with its Ω in series.  Its figure was taken from the sheet; what a figure that
    fits so well owes to having been chosen is `settings.suspect_common_cost` nats.
    """
    grid = sheet.grid
    shares = dict(settings.suspect_fault_shares)
    log_prior = (
        np.log(settings.suspect_fault_rate * shares["resistive_common"]) - settings.suspect_common_cost
    )
    symbols = sheet.symbols[grid.source[:, :, sheet.cells]]
    tables = sheet.log_tables(odds_added)
    usable = [m for m, mistake in enumerate(grid.mistakes) if mistake.kind != "wrong_common"]
    other = priors.fault - np.log(-np.expm1(priors.fault[0])) + priors.pair
    other[0] = 0.0
    parts = []
    for m in usable:
        rows = np.flatnonzero(np.isfinite(other)) if m == 0 else np.array([0])
        under = sheet.under(symbols[rows, m], tables[m], sheet.doubt[m])
        log_joint = under + other[rows] + log_prior + priors.mistake[m] + log_variant
        contact = (symbols[rows, m] != OPEN) & (symbols[rows, m] < sheet.table.unknown)
        shown = np.where(contact, sheet.table.alphabet.odd, symbols[rows, m])
        parts.append((np.full(len(rows), m), rows, log_joint, shown))
    mistake, first, joint, kept = (np.concatenate(column) for column in zip(*parts, strict=True))
    return _block(variant, mistake, first, joint, kept, common=True)
