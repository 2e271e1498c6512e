"""What propagation says of each sheet: its likeliest explanation, and the readings that still differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import consistent_symbols
from consensus.encoding import Encoded
from consensus.hypotheses import CONSTANTS
from consensus.inference import (
    Pairs,
    arm_beliefs,
    combine,
    entry_likelihoods,
    make_pairs,
)
from consensus.problem import Problem
from consensus.worn_contacts import worn_chances

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LIKELY = 0.5
DOUBTFUL = 0.1  # chance of differing below which a reading is no part of a slip


@dataclass(frozen=True)
class Explanation:
    """Of N sheets.  hypothesis, table: (N,) likeliest; p: (N,) its probability; mistakes: (N, M), faults:
    (N, F), tables: (N, V) marginals; plain: (N,) nothing wrong but slips; slip: (N,) chance that at least
    one reading is not what the unit and the mistake make of the pattern; as_read: (N, V) readings that agree
    with each table as they are written.

    Entries of the likeliest explanation: sheet, row (merged readings of `Encoded`), place (-1 where the
    reading shows no single place), evidence (False: the end of travel read twice), differs: (E,) chance
    that the reading, or one of its sweeps, is a slip, shown: (E,) symbol that was expected; code: (E,) of
    each reading, after a resistive common's figure was taken off; figure: (E,) nothing was taken off; worn:
    (E,) chance that the unit's contact there is worn (worn_contacts.py), which is no slip.
    """

    hypothesis: IntArray
    table: IntArray
    p: FloatArray
    mistakes: FloatArray
    faults: FloatArray
    tables: FloatArray
    plain: FloatArray
    slip: FloatArray
    as_read: IntArray
    sheet: IntArray
    row: IntArray
    place: IntArray
    evidence: BoolArray
    differs: FloatArray
    shown: IntArray
    code: IntArray
    figure: BoolArray
    worn: FloatArray


def explain(
    problem: Problem, pairs: Pairs, posterior: FloatArray, beliefs: FloatArray, encoded: Encoded
) -> Explanation:
    """Explanation of the sheets of `problem`, made of `encoded`, from (P, V) posteriors."""
    many = problem.mistakes
    top, table = _likeliest(pairs, posterior)
    by_pair = posterior.sum(axis=1)
    mistake, fault = pairs.hypothesis % many, pairs.hypothesis // many
    mistakes = _marginal(pairs.sheet, mistake, by_pair, (problem.sheets, many))
    faults = _marginal(pairs.sheet, fault, by_pair, (problem.sheets, problem.faults))
    tables = np.zeros((problem.sheets, posterior.shape[1]))
    np.add.at(tables, pairs.sheet, posterior)
    chosen = make_pairs(problem, np.arange(problem.sheets), pairs.hypothesis[top])
    offset = (chosen.hypothesis // many == problem.faults - 1)[chosen.pair]
    code = np.where(offset, problem.shifted_code[chosen.row], encoded.code[problem.row[chosen.row]])
    torn = problem.torn[chosen.row]
    shown, unlike = expected_symbols(problem, chosen, beliefs, table, code)
    unlike = np.where(torn, 1.0, unlike)
    base = beliefs.shape[2]
    single = (chosen.source >= CONSTANTS) & (chosen.source < base)
    silent = problem.hypotheses.silent[chosen.hypothesis[chosen.pair], problem.cell[chosen.row]]
    evidence = ~silent & (chosen.hypothesis[chosen.pair] % many != many - 1)
    # sweeps that contradict each other are a slip, whatever the contact is
    told = np.where(evidence & single & ~torn, unlike, -1.0)
    worn = worn_chances(problem, chosen, table, beliefs, told, faults[:, 0], encoded)
    differs = np.where(torn, 1.0, unlike * (1 - worn))
    doubtful = np.where(differs > DOUBTFUL, np.log1p(-np.minimum(differs, 1 - 1e-12)), 0.0)
    return Explanation(
        hypothesis=pairs.hypothesis[top],
        table=table,
        p=posterior[top, table],
        mistakes=mistakes,
        faults=faults,
        tables=tables,
        plain=_marginal(pairs.sheet, (pairs.hypothesis == 0).astype(np.int64), by_pair, (problem.sheets, 2))[
            :, 1
        ],
        slip=1 - np.exp(np.bincount(chosen.pair, doubtful, problem.sheets)),
        as_read=agreeing_as_read(problem, chosen, table, beliefs, unlike, encoded.code),
        sheet=chosen.sheet[chosen.pair],
        row=problem.row[chosen.row],
        place=np.where(single, chosen.source - CONSTANTS, -1),
        evidence=evidence,
        differs=differs,
        shown=shown,
        code=code,
        figure=~offset,
        worn=worn,
    )


def agreeing_as_read(
    problem: Problem, chosen: Pairs, table: IntArray, beliefs: FloatArray, unlike: FloatArray, codes: IntArray
) -> IntArray:
    """(N, V) readings of each sheet that agree with each table as they are written: with its own they are
    known already (`unlike`, (E,) of its likeliest explanation) where nothing had to be put right."""
    many, tables = problem.sheets, beliefs.shape[1]
    own = np.bincount(chosen.pair, unlike <= LIKELY, many)
    found = np.repeat(own[:, None], tables, axis=1)
    for number in range(tables):
        sheets = np.flatnonzero((chosen.hypothesis != 0) | (table != number))
        if len(sheets):
            read = make_pairs(problem, sheets, np.zeros(len(sheets), dtype=np.int64))
            against = np.full(many, number)
            apart = expected_symbols(problem, read, beliefs, against, codes[problem.row[read.row]])[1]
            agrees = (apart <= LIKELY) & ~problem.torn[read.row]
            found[sheets, number] = np.bincount(read.pair, agrees, len(sheets))
    return found.astype(np.int64)


def _likeliest(pairs: Pairs, posterior: FloatArray) -> tuple[IntArray, IntArray]:
    """(N,) index of each sheet's likeliest pair (the first of equals), and its table."""
    best = posterior.max(axis=1)
    first = np.flatnonzero(np.concatenate([[True], pairs.sheet[1:] != pairs.sheet[:-1]]))
    highest = np.maximum.reduceat(best, first)
    at = np.where(best == highest[pairs.sheet], np.arange(len(pairs)), len(pairs))
    top = np.minimum.reduceat(at, first)
    return top, posterior[top].argmax(axis=1)


def _marginal(sheet: IntArray, column: IntArray, weight: FloatArray, shape: tuple[int, int]) -> FloatArray:
    counts = np.bincount(sheet * shape[1] + column, weight, shape[0] * shape[1])
    return np.asarray(counts, dtype=np.float64).reshape(shape)


def expected_symbols(
    problem: Problem, pairs: Pairs, beliefs: FloatArray, table: IntArray, code: IntArray
) -> tuple[IntArray, FloatArray]:
    """(E,) likeliest symbol behind each reading, and the chance that its code (E,) is not what it shows."""
    unit = problem.unit[pairs.sheet][pairs.pair]
    which = table[pairs.sheet][pairs.pair]
    base = beliefs.shape[2]
    plain = pairs.source < base
    shown = beliefs[unit, which, np.where(plain, pairs.source, 0)]
    for number in range(beliefs.shape[1]):
        rest = np.flatnonzero(~plain & (which == number))
        if len(rest):
            arms = arm_beliefs(problem, beliefs[:, number], unit[rest], pairs.source[rest])
            shown[rest] = combine(arms[0], arms[1], problem.alphabet.series)
    like = entry_likelihoods(problem, pairs)
    after = shown * like
    after /= after.sum(axis=1, keepdims=True)
    fits = consistent_symbols(problem.alphabet)[code]
    return shown.argmax(axis=1), np.asarray(1 - (after * fits).sum(axis=1))
