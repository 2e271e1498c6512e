"""Designs of very many sheets of a few readings each: every sheet as read, readings judged one by one.

Such sheets can tell neither a mistake nor a fault, and one figure per unit, place and symbol would fill the
memory.  What is left of the model is the two-rate form of Dawid & Skene (1979, Applied Statistics
28:20-28) with the contributors' rates of the snapshot.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import consistent_symbols, deviation
from consensus.explanation import DOUBTFUL, LIKELY, Explanation
from consensus.hypotheses import CONSTANTS
from consensus.problem import Problem
from consensus.propagation import first_prior

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

THIN_FROM = 3_000_000  # figures that dense messages would need
MOSTLY = 0.5  # share of light sheets from which a large design counts as thin
HUGE = 60_000_000  # figures above which a design is thin whatever its sheets are
ROUNDS = 30


def is_thin(problem: Problem) -> bool:
    """Whether dense messages are out of proportion to what the sheets can tell."""
    if problem.sheets == 0:
        return True
    figures = problem.units * problem.places * problem.alphabet.size
    return figures > HUGE or (figures > THIN_FROM and float(problem.light.mean()) > MOSTLY)


def row_places(problem: Problem) -> IntArray:
    """(R,) place of each reading as read, -1 where it is none of its own."""
    source = problem.hypotheses.source[0, problem.cell].astype(np.int64)
    place = source - CONSTANTS
    return np.where((place >= 0) & (place < problem.places), place, -1)


def thin_beliefs(problem: Problem) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(Q, A) belief of each place, (R, A) belief behind each reading by all the others, (A,) state shares."""
    place = row_places(problem)
    own = np.flatnonzero(place >= 0)
    spread = deviation(problem.alphabet, problem.settings.unit_deviation)
    said = np.log(problem.like @ spread.T) * problem.weight[:, None]
    size = problem.alphabet.size
    columns = [np.bincount(place[own], said[own, at], problem.places) for at in range(size)]
    total = np.stack(columns, axis=1).astype(np.float64)
    prior = start = first_prior(problem)
    read = np.bincount(place[own], minlength=problem.places) > 0
    for _ in range(ROUNDS):
        belief = _normal(total, prior)
        fresh = belief[read].sum(axis=0) + start
        fresh /= fresh.sum()
        still = np.abs(fresh - prior).max() < problem.settings.tolerance * 0.1
        prior = fresh
        if still:
            break
    behind = np.tile(prior, (len(place), 1))
    behind[own] = _normal(total[place[own]] - said[own], prior)
    return _normal(total, prior), behind, prior


def _normal(logs: FloatArray, prior: FloatArray) -> FloatArray:
    belief = np.exp(logs - logs.max(axis=-1, keepdims=True)) * prior
    return np.asarray(belief / belief.sum(axis=-1, keepdims=True))


def explain_thinly(problem: Problem, behind: FloatArray, codes: IntArray) -> Explanation:
    """Every sheet as read, with the readings that differ."""
    after = behind * problem.like
    after /= after.sum(axis=1, keepdims=True)
    code = codes[problem.row]
    differs = 1 - (after * consistent_symbols(problem.alphabet)[code]).sum(axis=1)
    differs = np.where(problem.torn, 1.0, differs)
    doubtful = np.where(differs > DOUBTFUL, np.log1p(-np.minimum(differs, 1 - 1e-12)), 0.0)
    many = problem.sheets
    place = row_places(problem)
    agreeing = np.bincount(problem.sheet, differs <= LIKELY, many).astype(np.int64)
    first = np.zeros((many, 1))
    return Explanation(
        hypothesis=np.zeros(many, dtype=np.int64),
        table=np.zeros(many, dtype=np.int64),
        p=np.ones(many),
        mistakes=np.pad(first + 1, ((0, 0), (0, problem.mistakes - 1))),
        faults=np.pad(first + 1, ((0, 0), (0, problem.faults - 1))),
        tables=first + 1,
        plain=np.ones(many),
        slip=1 - np.exp(np.bincount(problem.sheet, doubtful, many)),
        as_read=agreeing[:, None],
        sheet=problem.sheet,
        row=problem.row,
        place=place,
        evidence=place >= 0,
        differs=differs,
        shown=behind.argmax(axis=1),
        code=code,
        figure=np.ones(len(place), dtype=bool),
        worn=np.zeros(len(place)),
    )
