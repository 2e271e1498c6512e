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

from consensus.contacts import deviation
from consensus.hypotheses import CLOSED as CLOSED_SOURCE
from consensus.hypotheses import CONSTANTS, OPEN, UNKNOWN, WORN
from consensus.problem import Problem
from consensus.symbols import dot, over_symbols

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

NEGLIGIBLE = 1e-5  # pairs less likely than that are left out until the next full round
BLOCK = 200_000  # entries that are predicted at once
LOOSE = 0.3  # share of places in which an unexplained sheet may show anything
TINY = 1e-300
HOPELESS = -1e9  # log score of what cannot be


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
    first = problem.start[sheet]
    length = problem.start[sheet + 1] - first
    end = np.cumsum(length)
    pair = np.repeat(np.arange(len(sheet)), length)
    row = np.arange(len(pair)) + np.repeat(first - end + length, length)
    source = problem.hypotheses.source
    at = np.repeat(hypothesis * source.shape[1], length) + problem.cell.take(row)
    return Pairs(sheet, hypothesis, pair, row, source.ravel().take(at).astype(np.int64))


def single_pairs(problem: Problem, combined: BoolArray, kept: Pairs | None = None) -> Pairs:
    """Every sheet with no more than one thing wrong; (N,) `combined`: also hypotheses that put two contacts
    in series or parallel (dear to compute, so only for sheets that nothing simpler explains).  With `kept`,
    the other sheets have those pairs only."""
    many, faults = problem.mistakes, problem.faults
    single = np.zeros((faults, many), dtype=bool)
    single[0] = True
    single[:, 0] = True
    shifted = np.zeros_like(single)
    shifted[-1] = True
    shifted[-1, -1] = single[-1] = False
    plain = single.ravel() & ~problem.hypotheses.composite
    plain[0] = True
    allowed = np.where(combined[:, None], single.ravel(), plain)
    allowed |= problem.offset[:, None] & shifted.ravel()
    if kept is not None:
        allowed[~combined] = False
        allowed[kept.sheet, kept.hypothesis] = True
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
        spread = deviation(problem.alphabet, problem.settings.unit_deviation)
        belief = (belief.reshape(-1, len(spread)) @ spread).reshape(belief.shape)
    places, size = belief.shape[-2:]
    out = np.zeros((*belief.shape[:-2], CONSTANTS + places, size))
    out[..., OPEN, 0] = 1.0
    out[..., CLOSED_SOURCE, 1] = 1.0
    out[..., UNKNOWN, :] = prior
    out[..., WORN, 0] = out[..., WORN, problem.alphabet.odd] = 0.5
    out[..., CONSTANTS:, :] = belief
    return out


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
    both = over_symbols(p[:, levels])[:, 0] * over_symbols(q[:, levels])[:, 0]
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
    if q.shape[1] == 3:
        out += q[:, [2]] * like[:, table[:, 2]]
    else:
        likeliest = q[:, 2:].argmax(axis=1) + 2
        out += over_symbols(q[:, 2:]) * np.take_along_axis(like, table[:, likeliest].T, axis=1)
    out[:, settles] = like[:, settles]
    out[:, neutral] = dot(q, like)
    return out


def settling(table: IntArray) -> tuple[int, int]:
    """(symbol that settles two contacts, symbol that changes nothing): open, closed in series."""
    return (0, 1) if table[0, 1] == 0 else (1, 0)


def predict(problem: Problem, beliefs: FloatArray, pairs: Pairs, at: IntArray | None = None) -> FloatArray:
    """(E,) probability of each entry's reading, given (U, sources, A) beliefs of one table.

    at: (E,) row of `beliefs` for each entry; by default the unit of its sheet.  Many entries are taken in
    blocks, so that memory does not grow with them."""
    many = len(pairs.pair)
    if many > BLOCK:
        blocks = []
        for start in range(0, many, BLOCK):
            part = slice(start, start + BLOCK)
            some = Pairs(pairs.sheet, pairs.hypothesis, pairs.pair[part], pairs.row[part], pairs.source[part])
            blocks.append(predict(problem, beliefs, some, None if at is None else at[part]))
        return np.concatenate(blocks)
    like = entry_likelihoods(problem, pairs)
    unit = problem.unit[pairs.sheet].take(pairs.pair) if at is None else at
    base, size = beliefs.shape[1:]
    rest = np.flatnonzero(pairs.source >= base)
    source = pairs.source
    if len(rest):
        source = source.copy()
        source[rest] = 0
    shown = beliefs.reshape(-1, size).take(unit * base + source, axis=0)
    if len(rest):
        arms = arm_beliefs(problem, beliefs, unit.take(rest), pairs.source.take(rest))
        shown[rest] = combine(arms[0], arms[1], problem.alphabet.series)
    chance = dot(shown, like)
    unexplained = pairs.hypothesis % problem.mistakes == problem.mistakes - 1
    if unexplained.any():
        loose = np.flatnonzero(unexplained.take(pairs.pair))
        unknown = beliefs[:, UNKNOWN].take(unit.take(loose), axis=0)
        anything = dot(like.take(loose, axis=0), unknown)
        chance[loose] = (1 - LOOSE) * chance[loose] + LOOSE * anything
    return np.asarray(chance)


def arm_beliefs(
    problem: Problem, state_beliefs: FloatArray, unit: IntArray, source: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Beliefs of both arms of sources in series, each arm one contact or two in parallel."""
    x = problem.hypotheses.operands.take(source, axis=0)
    base, size = state_beliefs.shape[1:]
    flat, first = state_beliefs.reshape(-1, size), unit * base
    arms = []
    for near, aside in ((0, 1), (2, 3)):
        arm = flat.take(first + x[:, near], axis=0)
        paired = np.flatnonzero(x[:, aside] != OPEN)
        if len(paired):
            other = flat.take(first[paired] + x[paired, aside], axis=0)
            arm[paired] = combine(arm.take(paired, axis=0), other, problem.alphabet.parallel)
        arms.append(arm)
    return arms[0], arms[1]


def entry_likelihoods(problem: Problem, pairs: Pairs) -> FloatArray:
    """(E, A) likelihood of each entry's reading, with the offset taken off under a resistive common."""
    like = problem.like.take(pairs.row, axis=0)
    if problem.some_offset:
        common = pairs.hypothesis // problem.mistakes == problem.faults - 1
        if common.any():
            shifted = np.flatnonzero(common.take(pairs.pair))
            like[shifted] = problem.shifted.take(pairs.row.take(shifted), axis=0)
    return like


def weigh(
    problem: Problem, pairs: Pairs, fit: FloatArray, log_tables: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(P, V) posterior of each pair and table, and (U,) log evidence of each unit; log_tables: (V,) or (U, V)
    log prior of the tables (blocks.py).

    Variant and fault belong to the unit, a mistake to the sheet: sheets of one unit multiply within
    each variant and fault, mistakes are summed within each sheet.
    """
    many, faults, tables = problem.mistakes, problem.faults, fit.shape[1]
    fault = pairs.hypothesis // many
    score = np.maximum(fit + problem.log_mistake[pairs.sheet, pairs.hypothesis % many][:, None], HOPELESS)
    key = pairs.sheet * faults + fault
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    length = np.diff(np.append(first, len(key)))
    group = log_sums(score, first, length)
    by_key = np.full((problem.sheets * faults, tables), -np.inf)
    by_key[key[first]] = group
    by_sheet = by_key.reshape(problem.sheets, faults, tables)
    by_sheet[problem.light, 1:] = by_sheet[problem.light, :1]
    if problem.units == problem.sheets:
        total = np.empty_like(by_sheet)
        total[problem.unit] = by_sheet
    else:
        total = problem.sum_by_unit(by_sheet)
    total = total + problem.log_fault[None, :, None] + log_tables[..., None, :]
    held = np.flatnonzero((problem.bound >= 0) & (problem.bound < tables))
    if len(held):
        elsewhere = np.arange(tables)[None, :] != problem.bound[held][:, None]
        total[held] = np.where(elsewhere[:, None, :], -1e6, total[held])
    peak = total.max(axis=(1, 2), keepdims=True)
    mass = np.exp(total - peak)
    whole = mass.sum(axis=(1, 2), keepdims=True)
    unit_posterior = (mass / whole)[problem.unit].reshape(-1, tables)
    within = np.exp(score - np.repeat(group, length, axis=0))
    posterior = within * unit_posterior[key]
    if problem.light.any():
        light = problem.light[pairs.sheet]
        spread = (mass / whole).sum(axis=1)[problem.unit]
        posterior[light] = within[light] * spread[pairs.sheet[light]]
    return posterior, (peak + np.log(whole))[:, 0, 0]


def log_sums(score: FloatArray, first: IntArray, length: IntArray) -> FloatArray:
    """(groups, V) logs of the sums of exponentials of neighbouring rows; first, length: (groups,)."""
    highest = np.maximum.reduceat(score, first, axis=0)
    scaled = np.exp(score - np.repeat(highest, length, axis=0))
    return np.asarray(highest + np.log(np.add.reduceat(scaled, first, axis=0)))
