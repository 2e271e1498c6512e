"""Loopy belief propagation between sheets and the places of the pattern tables.

A sheet's message to a place is a mixture over its hypotheses; a unit judges hypotheses against what
*other* units say of each place (the cavity), so that no sheet confirms itself and the uncertainty of
the table reaches every judgement.  See README.md, "Inference", for the equations.

Arrays: U units, N sheets, V tables, Q places, A symbols, H hypotheses, R readings; a *pair* is a sheet
with one hypothesis, an *entry* one reading of a pair.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import Alphabet
from consensus.hypotheses import CLOSED as CLOSED_SOURCE
from consensus.hypotheses import CONSTANTS, OPEN, UNKNOWN, WORN, HypothesisSet
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

NEGLIGIBLE = 1e-5  # pairs less likely than that are left out until the next full round
LOOSE = 0.3  # share of places in which an unexplained sheet may show anything
SPEAKING = 1e-3  # pairs less likely than that send no message
TINY = 1e-300


@dataclass(frozen=True)
class Problem:
    """One design, ready for inference.

    sheet, cell: (R,) sorted by sheet; like: (R, A) likelihood of each reading; weight: (R,) design effect;
    shifted, shifted_code: (R, A), (R,) likelihoods and codes with a resistive common's figure taken off;
    unit: (N,); log_mistake: (N, M), log_fault: (F,) log priors; offset, light: (N,) sheets with a candidate
    resistive common, sheets of so few readings that only "as read" is considered; strange: (N,) sheets that
    mostly do not keep to the common.  row: (R,) merged readings of `Encoded`; bound: (U,) table
    that a moderator bound a unit to, -1 where free.
    """

    hypotheses: HypothesisSet
    alphabet: Alphabet
    places: int
    sheet: IntArray
    cell: IntArray
    row: IntArray
    like: FloatArray
    shifted: FloatArray
    weight: FloatArray
    unit: IntArray
    units: int
    log_mistake: FloatArray
    log_fault: FloatArray
    offset: BoolArray
    shifted_code: IntArray
    light: BoolArray
    strange: BoolArray
    bound: IntArray
    settings: Settings

    @property
    def sheets(self) -> int:
        return len(self.unit)

    @property
    def mistakes(self) -> int:
        return len(self.hypotheses.mistakes)

    @property
    def faults(self) -> int:
        return len(self.hypotheses.faults)


@dataclass(frozen=True)
class Pairs:
    """Sheets with the hypotheses to be weighed, sorted by sheet and hypothesis, and their entries.

    sheet, hypothesis: (P,); pair, row, source: (E,); silent: (E,).
    """

    sheet: IntArray
    hypothesis: IntArray
    pair: IntArray
    row: IntArray
    source: IntArray

    def __len__(self) -> int:
        return len(self.sheet)


def make_pairs(problem: Problem, sheet: IntArray, hypothesis: IntArray) -> Pairs:
    """Pairs and their entries; `sheet` and `hypothesis` sorted."""
    start = np.searchsorted(problem.sheet, np.arange(problem.sheets + 1))
    length = np.diff(start)[sheet]
    pair = np.repeat(np.arange(len(sheet)), length)
    offset = np.arange(len(pair)) - np.repeat(np.cumsum(length) - length, length)
    row = start[sheet][pair] + offset
    source = problem.hypotheses.source[hypothesis[pair], problem.cell[row]]
    return Pairs(sheet, hypothesis, pair, row, source.astype(np.int64))


def single_pairs(problem: Problem, combined: BoolArray) -> Pairs:
    """Every sheet with no more than one thing wrong; (N,) `combined`: also hypotheses that put two contacts
    in series or parallel (dear to compute, so only for sheets that nothing simpler explains)."""
    many, faults = problem.mistakes, problem.faults
    single = np.zeros((faults, many), dtype=bool)
    single[0] = True
    single[:, 0] = True
    shifted = np.zeros_like(single)
    shifted[-1] = True
    shifted[-1, -1] = single[-1] = False
    single, shifted = single.ravel(), shifted.ravel()
    plain = single & ~problem.hypotheses.composite
    plain[0] = True
    allowed = np.where(combined[:, None], single, plain)
    allowed |= problem.offset[:, None] & shifted
    allowed[problem.light] = False
    allowed[:, 0] = True
    return make_pairs(problem, *np.nonzero(allowed))


def crossed_pairs(
    problem: Problem,
    chosen: BoolArray,
    mistakes: BoolArray | None = None,
    faults: BoolArray | None = None,
    kept: Pairs | None = None,
) -> Pairs:
    """Mistakes together with faults for the chosen sheets (N,); the `kept` pairs besides.

    mistakes: (N, M), faults: (N, F) the ones that are weighed with everything else; by default all are.
    """
    shape = (problem.sheets, problem.faults, problem.mistakes)
    allowed = np.ones(shape, dtype=bool)
    if mistakes is not None and faults is not None:
        allowed = mistakes[:, None, :] | faults[:, :, None]
    allowed[:, 1:, -1] = False
    allowed[~problem.offset, -1] = False
    options = allowed.reshape(problem.sheets, -1)
    options[~chosen | problem.light] = False
    options[:, 0] = True
    if kept is not None:
        options[kept.sheet, kept.hypothesis] = True
    return make_pairs(problem, *np.nonzero(options))


def source_beliefs(
    problem: Problem, belief: FloatArray, prior: FloatArray, deviating: bool = True
) -> FloatArray:
    """(..., CONSTANTS + Q, A) beliefs of constants and places: of one unit's places, which may deviate from
    the pattern, or of the pattern's own."""
    if deviating:
        belief = belief @ deviation(problem.alphabet, problem.settings.unit_deviation)
    constants = np.zeros((CONSTANTS, problem.alphabet.size))
    constants[OPEN, 0] = 1.0
    constants[CLOSED_SOURCE, 1] = 1.0
    constants[UNKNOWN] = prior
    constants[WORN, [0, problem.alphabet.odd]] = 0.5
    spread = np.broadcast_to(constants, (*belief.shape[:-2], *constants.shape))
    return np.concatenate([spread, belief], axis=-2)


def combine(p: FloatArray, q: FloatArray, table: IntArray) -> FloatArray:
    """(E, A) belief of two contacts taken together, by the (A, A) symbol table of series or parallel.

    In series an open contact settles it and a closed one changes nothing, in parallel the reverse; of two
    resistive contacts only the likeliest levels are taken together, which keeps the cost linear in A.
    """
    settles, neutral = settling(table)
    levels = slice(2, None)
    out = p * q[:, neutral, None] + q * p[:, neutral, None]
    out[:, neutral] = p[:, neutral] * q[:, neutral]
    out[:, settles] = p[:, settles] + q[:, settles] - p[:, settles] * q[:, settles]
    both = p[:, levels].sum(axis=1) * q[:, levels].sum(axis=1)
    if p.shape[1] == 3:
        out[:, 2] += both
        return np.asarray(out)
    at = table[p[:, levels].argmax(axis=1) + 2, q[:, levels].argmax(axis=1) + 2]
    out[np.arange(len(out)), at] += both
    return np.asarray(out)


def beside(q: FloatArray, like: FloatArray, table: IntArray) -> FloatArray:
    """(E, A) likelihood of a contact's symbol read together with a contact of belief q."""
    settles, neutral = settling(table)
    out = q[:, [settles]] * like[:, [settles]] + q[:, [neutral]] * like
    likeliest = q[:, 2:].argmax(axis=1) + 2
    out += q[:, 2:].sum(axis=1)[:, None] * np.take_along_axis(like, table[:, likeliest].T, axis=1)
    out[:, settles] = like[:, settles]
    out[:, neutral] = np.einsum("ea,ea->e", q, like)
    return out


def settling(table: IntArray) -> tuple[int, int]:
    """(symbol that settles two contacts, symbol that changes nothing): open, closed in series."""
    return (0, 1) if table[0, 1] == 0 else (1, 0)


def predict(problem: Problem, beliefs: FloatArray, pairs: Pairs, at: IntArray | None = None) -> FloatArray:
    """(E,) probability of each entry's reading, given (U, sources, A) beliefs of one table.

    at: (E,) row of `beliefs` for each entry; by default the unit of its sheet."""
    like = entry_likelihoods(problem, pairs)
    unit = problem.unit[pairs.sheet][pairs.pair] if at is None else at
    base = beliefs.shape[1]
    plain = pairs.source < base
    shown = beliefs[unit, np.where(plain, pairs.source, 0)]
    rest = np.flatnonzero(~plain)
    if len(rest):
        arms = arm_beliefs(problem, beliefs, unit[rest], pairs.source[rest])
        shown[rest] = combine(arms[0], arms[1], problem.alphabet.series)
    chance = np.einsum("ea,ea->e", shown, like)
    loose = (pairs.hypothesis % problem.mistakes == problem.mistakes - 1)[pairs.pair]
    if loose.any():
        anything = like[loose] @ beliefs[0, UNKNOWN]
        chance[loose] = (1 - LOOSE) * chance[loose] + LOOSE * anything
    return np.asarray(chance)


def arm_beliefs(
    problem: Problem, state_beliefs: FloatArray, unit: IntArray, source: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Beliefs of both arms of sources in series, each arm one contact or two in parallel."""
    x = problem.hypotheses.operands[source]
    arms = []
    for near, aside in ((0, 1), (2, 3)):
        arm = state_beliefs[unit, x[:, near]]
        paired = np.flatnonzero(x[:, aside] != OPEN)
        if len(paired):
            other = state_beliefs[unit[paired], x[paired, aside]]
            arm[paired] = combine(arm[paired], other, problem.alphabet.parallel)
        arms.append(arm)
    return arms[0], arms[1]


def entry_likelihoods(problem: Problem, pairs: Pairs) -> FloatArray:
    """(E, A) likelihood of each entry's reading, with the offset taken off under a resistive common."""
    like = problem.like[pairs.row]
    if problem.offset.any():
        shifted = (pairs.hypothesis // problem.mistakes == problem.faults - 1)[pairs.pair]
        like[shifted] = problem.shifted[pairs.row[shifted]]
    return like


def weigh(
    problem: Problem, pairs: Pairs, fit: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(P, V) posterior of each pair and table, and (U,) log evidence of each unit.

    Variant and fault belong to the unit, a mistake to the sheet: sheets of one unit multiply within
    each variant and fault, mistakes are summed within each sheet.
    """
    many, faults, tables = problem.mistakes, problem.faults, len(share)
    fault = pairs.hypothesis // many
    score = fit + problem.log_mistake[pairs.sheet, pairs.hypothesis % many][:, None]
    key = pairs.sheet * faults + fault
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    group = np.logaddexp.reduceat(score, first, axis=0)
    by_sheet = np.full((problem.sheets * faults, tables), -np.inf)
    by_sheet[key[first]] = group
    by_sheet = by_sheet.reshape(problem.sheets, faults, tables)
    by_sheet[problem.light, 1:] = by_sheet[problem.light, :1]
    if problem.units == problem.sheets:
        total = np.empty_like(by_sheet)
        total[problem.unit] = by_sheet
    else:
        total = np.zeros((problem.units, faults, tables))
        np.add.at(total, problem.unit, by_sheet)
    total = total + problem.log_fault[None, :, None] + np.log(np.maximum(share, TINY))
    held = np.flatnonzero((problem.bound >= 0) & (problem.bound < tables))
    if len(held):
        elsewhere = np.arange(tables)[None, :] != problem.bound[held][:, None]
        total[held] = np.where(elsewhere[:, None, :], -1e6, total[held])
    peak = total.max(axis=(1, 2), keepdims=True)
    mass = np.exp(total - peak)
    whole = mass.sum(axis=(1, 2), keepdims=True)
    unit_posterior = (mass / whole)[problem.unit].reshape(-1, tables)
    within = np.exp(score - np.repeat(group, np.diff(np.append(first, len(key))), axis=0))
    posterior = within * unit_posterior[key]
    if problem.light.any():
        light = problem.light[pairs.sheet]
        spread = (mass / whole).sum(axis=1)[problem.unit]
        posterior[light] = within[light] * spread[pairs.sheet[light]]
    return posterior, (peak + np.log(whole))[:, 0, 0]


def unit_messages(problem: Problem, pairs: Pairs, posterior: FloatArray, beliefs: FloatArray) -> FloatArray:
    """(U, V, Q, A) log messages of units to places: what each unit says of each place of each table.

    m(x) = 1 + sum_h posterior(h) (likelihood(reading | x) / prediction - 1), over the hypotheses that show
    the place; then one unit may deviate from the pattern (see `deviation`), which bounds what it can say.
    """
    tables, size = beliefs.shape[1], problem.alphabet.size
    out = np.ones((problem.sheets, tables, problem.places, size))
    some = speaking_entries(problem, pairs, posterior.max(axis=1) > SPEAKING)
    unit = problem.unit[some.sheet][some.pair]
    for table in range(tables):
        pair, place, ratio = place_ratios(problem, some, beliefs[:, table], unit)
        target = (some.sheet[pair] * tables + table) * problem.places + place
        change = posterior[pair, table][:, None] * (ratio - 1)
        np.add.at(out.reshape(-1, size), target, change)
    return _by_unit(problem, np.maximum(out, 1e-9))


def sheet_messages(problem: Problem, pairs: Pairs, beliefs: FloatArray, at: IntArray) -> FloatArray:
    """(P, Q, A) what each pair, taken as certain, says of each place; at: (P,) rows of (…, sources, A)."""
    some = speaking_entries(problem, pairs, np.ones(len(pairs), dtype=bool))
    out = np.ones((len(pairs), problem.places, problem.alphabet.size))
    pair, place, ratio = place_ratios(problem, some, beliefs, at[some.pair])
    out[pair, place] = ratio
    return out


def speaking_entries(problem: Problem, pairs: Pairs, speaking: BoolArray) -> Pairs:
    """Pairs with only those entries that are evidence of places."""
    speaking = speaking & (pairs.hypothesis % problem.mistakes != problem.mistakes - 1)
    silent = problem.hypotheses.silent[pairs.hypothesis[pairs.pair], problem.cell[pairs.row]]
    entry = np.flatnonzero(speaking[pairs.pair] & ~silent)
    return Pairs(pairs.sheet, pairs.hypothesis, pairs.pair[entry], pairs.row[entry], pairs.source[entry])


def place_ratios(
    problem: Problem, some: Pairs, beliefs: FloatArray, at: IntArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """(pair, place, (…, A) likelihood over prediction): each pair and place once."""
    base = beliefs.shape[1]
    like = entry_likelihoods(problem, some)
    direct = np.flatnonzero((some.source >= CONSTANTS) & (some.source < base))
    shown = np.einsum("ea,ea->e", beliefs[at[direct], some.source[direct]], like[direct])
    ratio = like[direct] / shown[:, None]
    weight = problem.weight[some.row[direct]]
    if weight.min(initial=1.0) < 1:
        ratio = ratio ** weight[:, None]
        ratio /= np.einsum("ea,ea->e", beliefs[at[direct], some.source[direct]], ratio)[:, None]
    parts = [(some.pair[direct], some.source[direct] - CONSTANTS, ratio)]
    combined = np.flatnonzero(some.source >= base)
    if not len(combined):
        return parts[0]
    parts += _operand_messages(problem, some, combined, like, beliefs, at)
    pair, place, ratio = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    return _multiply_repeats(pair, place, ratio, problem.places)


def _operand_messages(
    problem: Problem, some: Pairs, at: IntArray, like: FloatArray, beliefs: FloatArray, unit: IntArray
) -> list[tuple[IntArray, IntArray, FloatArray]]:
    """(pair, place, ratio) of each place behind readings of two or more contacts."""
    unit, source, like = unit[at], some.source[at], like[at]
    x = problem.hypotheses.operands[source]
    arms = arm_beliefs(problem, beliefs, unit, source)
    series = problem.alphabet.series
    of_arm = (beside(arms[1], like, series), beside(arms[0], like, series))
    norm = np.einsum("ea,ea->e", of_arm[0], arms[0])
    found = []
    for column, other, arm in ((0, 1, 0), (1, 0, 0), (2, 3, 1), (3, 2, 1)):
        real = np.flatnonzero(x[:, column] >= CONSTANTS)
        if not len(real):
            continue
        mate = beliefs[unit[real], x[real, other]]
        message = of_arm[arm][real]
        alone = x[real, other] == OPEN
        both = np.flatnonzero(~alone)
        if len(both):
            message[both] = beside(mate[both], message[both], problem.alphabet.parallel)
        ratio = message / np.maximum(norm[real], TINY)[:, None]
        weight = problem.weight[some.row[at[real]]][:, None]
        found.append((some.pair[at[real]], x[real, column].astype(np.int64) - CONSTANTS, ratio**weight))
    return found


def _multiply_repeats(
    pair: IntArray, place: IntArray, ratio: FloatArray, places: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Readings of one pair that tell of the same place multiply."""
    keys, inverse = np.unique(pair * places + place, return_inverse=True)
    total = np.zeros((len(keys), ratio.shape[1]))
    np.add.at(total, inverse, np.log(np.maximum(ratio, TINY)))
    return keys // places, keys % places, np.exp(np.clip(total, -50, 50))


def _by_unit(problem: Problem, sheets: FloatArray) -> FloatArray:
    """Log messages of units from those of their sheets, through the unit's own deviation from the pattern."""
    if problem.units == problem.sheets:
        joined = np.empty_like(sheets)
        joined[problem.unit] = sheets
    else:
        logs = np.zeros((problem.units, *sheets.shape[1:]))
        np.add.at(logs, problem.unit, np.log(sheets))
        joined = np.exp(np.clip(logs, -60.0, 60.0))
    return np.asarray(np.log(joined @ deviation(problem.alphabet, problem.settings.unit_deviation).T))


def deviation(alphabet: Alphabet, share: float) -> FloatArray:
    """(A, A) rows: pattern, columns: the unit.  A worn contact is open or odd, a stray one closed or odd."""
    size, odd = alphabet.size, alphabet.odd
    moved = np.zeros((size, size))
    moved[0, [1, odd]] = 0.7, 0.3
    moved[1, [0, odd]] = 0.6, 0.4
    moved[2:odd, [0]] = 0.5
    moved[2:odd, odd] = 0.5
    moved[odd, [0, 1]] = 0.5
    return (1 - share) * np.eye(size) + share * moved
