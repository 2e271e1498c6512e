"""What units say of places: messages of propagation, from posteriors of explanations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import deviation
from consensus.hypotheses import CONSTANTS, OPEN
from consensus.inference import (
    TINY,
    Pairs,
    arm_beliefs,
    beside,
    entry_likelihoods,
    make_pairs,
)
from consensus.problem import Problem
from consensus.symbols import dot, peak, sums_at
from consensus.table_pairs import belief_rows, in_tables

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
    speaking = np.flatnonzero(peak(posterior)[:, 0] > SPEAKING)
    spoken = in_tables(make_pairs(problem, pairs.sheet[speaking], pairs.hypothesis[speaking]), tables)
    some = speaking_entries(problem, spoken, np.ones(len(spoken), dtype=bool))
    flat = beliefs.reshape(-1, *beliefs.shape[2:])
    pair, place, ratio = place_ratios(problem, some, flat, belief_rows(problem, some, tables))
    first = some.sheet * tables + np.repeat(np.arange(tables), len(speaking))
    target = (first * problem.places).take(pair) + place
    change = posterior[speaking].T.ravel().take(pair)[:, None] * (ratio - 1)
    out = sums_at(target, change, problem.sheets * tables * problem.places)
    out = out.reshape(problem.sheets, tables, problem.places, size)
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
    ratio /= dot(belief, ratio)[:, None]
    weight = problem.weight.take(some.row.take(direct))
    if weight.min(initial=1.0) < 1:
        ratio **= weight[:, None]
        ratio /= dot(belief, ratio)[:, None]
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
    unit, source, like = unit.take(at), some.source.take(at), like.take(at, axis=0)
    x = problem.hypotheses.operands.take(source, axis=0)
    base, size = beliefs.shape[1:]
    flat, first = beliefs.reshape(-1, size), unit * base
    pair, rows = some.pair.take(at), some.row.take(at)
    arms = arm_beliefs(problem, beliefs, unit, source)
    series = problem.alphabet.series
    of_arm = (beside(arms[1], like, series), beside(arms[0], like, series))
    norm = dot(of_arm[0], arms[0])
    found = []
    for column, other, arm in ((0, 1, 0), (1, 0, 0), (2, 3, 1), (3, 2, 1)):
        real = np.flatnonzero(x[:, column] >= CONSTANTS)
        if not len(real):
            continue
        partner = x[:, other].take(real)
        mate = flat.take(first.take(real) + partner, axis=0)
        message = of_arm[arm].take(real, axis=0)
        both = np.flatnonzero(partner != OPEN)
        if len(both):
            message[both] = beside(
                mate.take(both, axis=0), message.take(both, axis=0), problem.alphabet.parallel
            )
        ratio = message / np.maximum(norm.take(real), TINY)[:, None]
        weight = problem.weight.take(rows.take(real))[:, None]
        place = x[:, column].take(real).astype(np.int64) - CONSTANTS
        found.append((pair.take(real), place, ratio**weight if weight.min() < 1 else ratio))
    return found


def _multiply_repeats(
    pair: IntArray, place: IntArray, ratio: FloatArray, places: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Readings of one pair that tell of the same place multiply."""
    keys, inverse = distinct(pair * places + place)
    logs = np.log(np.maximum(ratio, TINY))
    total = sums_at(inverse, logs, len(keys))
    return keys // places, keys % places, np.exp(np.clip(total, -50, 50))


def distinct(keys: IntArray) -> tuple[IntArray, IntArray]:
    """`np.unique` with the inverse, for keys whose range is of the order of their number: without sorting."""
    present = np.zeros(int(keys.max(initial=-1)) + 1, dtype=bool)
    present[keys] = True
    return np.flatnonzero(present), (np.cumsum(present) - 1).take(keys)


def _by_unit(problem: Problem, sheets: FloatArray) -> FloatArray:
    """Log messages of units from those of their sheets, through the unit's own deviation from the pattern."""
    if problem.units == problem.sheets:
        joined = np.empty_like(sheets)
        joined[problem.unit] = sheets
    else:
        logs = problem.sum_by_unit(np.log(sheets))
        joined = np.exp(np.clip(logs, -60.0, 60.0))
    spread = deviation(problem.alphabet, problem.settings.unit_deviation).T
    return np.asarray(np.log((joined.reshape(-1, len(spread)) @ spread).reshape(joined.shape)))
