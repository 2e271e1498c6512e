"""What units say of places: messages of propagation, from posteriors of explanations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import deviation
from consensus.hypotheses import CONSTANTS, OPEN
from consensus.inference import TINY, Pairs, arm_beliefs, beside, entry_likelihoods
from consensus.problem import Problem

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SPEAKING = 1e-3  # pairs less likely than that send no message


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
