"""How a contributor's figures of closed contacts lie beside those of others: leads that are not zeroed, and
Mandel's h and k for those who read a unit again.

A closed contact shows what the contact has, and the leads where they were not taken off: the excess over the
median of its place, over all who read it, is the leads' own.  Mandel's h compares contributors' mean excess,
k the spread of one contributor's readings of one and the same contact (ISO 5725-2:1994, 7.3.1).  People read
as many contacts as they like: a mean of five readings is known less well than one of five hundred, and a
spread's limit follows from the degrees of freedom behind it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import CLOSED, CONTACT
from consensus.encoding import Encoded
from consensus.hypotheses import CONSTANTS
from consensus.outliers import mandel_h, mandel_h_critical, mandel_k, mandel_k_limit
from consensus.problem import Problem
from consensus.propagation import State
from consensus.reliability import MandelFigures

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

SURE = 0.9  # chance of an explanation, and of a closed contact behind the reading, from which it is used
FEWEST = 3  # readings of a place whose median is a measure
MOST_EXCESS = 1.0  # Ω; more is a dirty contact, no lead
LEADS_WEIGHT = 10.0  # readings that "zeroed" is worth
REPEATS_ENOUGH = 5.0  # degrees of freedom within one's own repeated readings
FEWEST_COMPARED = 3  # contributors with repeated readings
CONTACT_SD = 0.3  # Ω by which one good contact's excess varies beside another's (common practice, no source)


def closed_figures(
    encoded: Encoded, problem: Problem, state: State, who: IntArray, people: int
) -> tuple[FloatArray, FloatArray]:
    """(people, 2) sum of excess in Ω and readings; (people, 2) squares within repeated readings of one
    contact and their degrees of freedom.  who: (N,) contributor of each sheet."""
    pairs = state.pairs
    sure = state.posterior[:, 0] > SURE
    plain = pairs.hypothesis // problem.mistakes == 0
    base = state.beliefs.shape[2]
    row = problem.row[pairs.row]
    ohm = encoded.ohm[row]
    direct = (pairs.source >= CONSTANTS) & (pairs.source < base)
    used = (sure & plain)[pairs.pair] & direct & (encoded.code[row] == CONTACT) & np.isfinite(ohm)
    at = np.flatnonzero(used)
    unit = problem.unit[pairs.sheet][pairs.pair[at]]
    at = at[state.beliefs[unit, 0, pairs.source[at], CLOSED] > SURE]
    if not len(at):
        return np.zeros((people, 2)), np.zeros((people, 2))
    sheet = pairs.sheet[pairs.pair[at]]
    place, ohm = pairs.source[at] - CONSTANTS, ohm[at]
    middle, many = _medians(place, ohm)
    excess = np.clip(ohm - middle, -MOST_EXCESS, MOST_EXCESS)
    told = many >= FEWEST
    leads = np.stack([np.bincount(who[sheet], told * excess, people), np.bincount(who[sheet], told, people)])
    return leads.T.astype(np.float64), _repeats(who[sheet], problem.unit[sheet], place, excess, people)


def _medians(group: IntArray, values: FloatArray) -> tuple[FloatArray, IntArray]:
    """(n,) median of each value's group, and how many it has."""
    order = np.lexsort((values, group))
    _distinct, first, inverse, many = np.unique(
        group[order], return_index=True, return_inverse=True, return_counts=True
    )
    ordered = values[order]
    middle = (ordered[first + (many - 1) // 2] + ordered[first + many // 2]) / 2
    found, counts = np.empty(len(values)), np.empty(len(values), dtype=np.int64)
    found[order], counts[order] = middle[inverse], many[inverse]
    return found, counts


def _repeats(
    person: IntArray, unit: IntArray, place: IntArray, excess: FloatArray, people: int
) -> FloatArray:
    """(people, 2) squares about the mean of readings of one contact by one person, and degrees of freedom."""
    _, inverse = np.unique(np.stack([person, unit, place]), axis=1, return_inverse=True)
    inverse = inverse.ravel()
    many = np.bincount(inverse)
    away = excess - (np.bincount(inverse, excess) / many)[inverse]
    freedom = 1 - 1 / many[inverse]
    return np.stack([np.bincount(person, away**2, people), np.bincount(person, freedom, people)]).T.astype(
        np.float64
    )


def leads_excess(total: float, readings: float) -> float:
    """Mean excess in Ω, drawn towards 0 where few readings stand behind it.

    >>> round(leads_excess(30.0, 100.0), 3), leads_excess(0.0, 0.0)
    (0.273, 0.0)
    """
    return total / (readings + LEADS_WEIGHT)


def mandel_figures(leads: dict[str, FloatArray], repeats: dict[str, FloatArray]) -> dict[str, MandelFigures]:
    """h and k of the contributors who read enough contacts twice, where there are enough of them."""
    names = sorted(
        name for name, (_squares, freedom) in repeats.items()
        if freedom >= REPEATS_ENOUGH and leads[name][1] > 0
    )  # fmt: skip
    if len(names) < FEWEST_COMPARED:
        return {}
    excess, readings = np.array([leads[name] for name in names]).T
    squares, freedom = np.array([repeats[name] for name in names]).T
    h = mandel_h(excess / readings, mean_weights(excess / readings, CONTACT_SD**2 / readings))
    k = mandel_k(np.sqrt(squares / freedom), freedom)
    h_limit = mandel_h_critical(len(names))
    k_limits = [mandel_k_limit(own, float(freedom.sum()) - own) for own in freedom]
    return {
        name: MandelFigures(float(h[at]), float(k[at]), h_limit, k_limits[at], len(names))
        for at, name in enumerate(names)
    }


def mean_weights(means: FloatArray, variance: FloatArray) -> FloatArray:
    """(n,) inverse variances of means: that of each by itself, and that between people by moments
    (DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188).

    >>> mean_weights(np.array([0.0, 2.0]), np.array([1.0, 1.0]))
    array([0.5, 0.5])
    """
    own = 1 / variance
    middle = (own * means).sum() / own.sum()
    surplus = (own * (means - middle) ** 2).sum() - (len(means) - 1)
    between = max(surplus / (own.sum() - (own**2).sum() / own.sum()), 0.0)
    return np.asarray(1 / (variance + between))
