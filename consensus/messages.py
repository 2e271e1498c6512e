"""What units say of places: messages of propagation, from posteriors of explanations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import deviation
from consensus.hypotheses import CONSTANTS, OPEN
from consensus.inference import TINY, Pairs, arm_beliefs, beside, entry_likelihoods, make_pairs
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
    out = np.empty((problem.sheets, tables, problem.places, size))
    speaking = np.flatnonzero(posterior.max(axis=1) > SPEAKING)
    spoken = make_pairs(problem, pairs.sheet[speaking], pairs.hypothesis[speaking])
    some = speaking_entries(problem, spoken, np.ones(len(speaking), dtype=bool))
    unit = problem.unit[some.sheet].take(some.pair)
    weight = posterior[speaking]
    for table in range(tables):
        pair, place, ratio = place_ratios(problem, some, beliefs[:, table], unit)
        target = (some.sheet * problem.places).take(pair) + place
        change = weight[:, table].take(pair)[:, None] * (ratio - 1)
        for symbol in range(size):
            told = np.bincount(target, change[:, symbol], problem.sheets * problem.places)
            out[:, table, :, symbol] = told.reshape(problem.sheets, problem.places)
    return _by_unit(problem, np.maximum(out + 1.0, 1e-9))


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
    heard = speaking.take(pairs.pair)
    repeats = np.flatnonzero(problem.hypotheses.repeating[pairs.hypothesis].take(pairs.pair))
    if len(repeats):
        hypothesis = pairs.hypothesis[pairs.pair[repeats]]
        heard[repeats] &= ~problem.hypotheses.silent[hypothesis, problem.cell[pairs.row[repeats]]]
    elif heard.all():
        return pairs
    entry = np.flatnonzero(heard)
    return Pairs(pairs.sheet, pairs.hypothesis, pairs.pair[entry], pairs.row[entry], pairs.source[entry])


def place_ratios(
    problem: Problem, some: Pairs, beliefs: FloatArray, at: IntArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """(pair, place, (…, A) likelihood over prediction): each pair and place once."""
    base, size = beliefs.shape[1:]
    like = entry_likelihoods(problem, some)
    direct = np.flatnonzero((some.source >= CONSTANTS) & (some.source < base))
    source = some.source.take(direct)
    belief = beliefs.reshape(-1, size).take(at.take(direct) * base + source, axis=0)
    ratio = like.take(direct, axis=0)
    ratio /= np.einsum("ea,ea->e", belief, ratio)[:, None]
    weight = problem.weight.take(some.row.take(direct))
    if weight.min(initial=1.0) < 1:
        ratio **= weight[:, None]
        ratio /= np.einsum("ea,ea->e", belief, ratio)[:, None]
    parts = [(some.pair.take(direct), source - CONSTANTS, ratio)]
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
    logs = np.log(np.maximum(ratio, TINY))
    columns = [np.bincount(inverse, logs[:, symbol], len(keys)) for symbol in range(ratio.shape[1])]
    total = np.stack(columns, axis=1)
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
    spread = deviation(problem.alphabet, problem.settings.unit_deviation).T
    return np.asarray(np.log((joined.reshape(-1, len(spread)) @ spread).reshape(joined.shape)))
