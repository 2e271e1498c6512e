"""Worn contacts: units that fit the pattern but for one contact, which is open or high where good ones close.

One place of one unit is too little for a hypothesis of its own in propagation, where the deviation of a
unit stands for it.  Afterwards it can be told from a slip: by several sheets of the unit that agree, each
of which would have to slip by itself, or by a figure that is too high for dirt.  With y_n the readings of
the place q by the unit's sheets, s what the pattern has there and x the worn contact's symbol,

    odds(q) = p(worn at q) · Σ_x ½ Π_n P(y_n | x) / Σ_s b(s) Π_n P(y_n | s)

against "as good as it was held"; a unit has one such contact at most.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from consensus.contacts import CLOSED, OPEN
from consensus.encoding import Encoded
from consensus.hypotheses import CONSTANTS
from consensus.inference import Pairs, entry_likelihoods
from consensus.problem import Problem
from consensus.reading_odds import DIRTY_SPREAD, DIRTY_TIMES, WORN_FROM_OHM

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LIKELY = 0.5
DIRT_ANYWHERE = 0.03  # of what is taken for dirt: any resistance, from a probe that slipped or a wrong pin


def worn_chances(
    problem: Problem,
    pairs: Pairs,
    table: IntArray,
    beliefs: FloatArray,
    unlike: FloatArray,
    faultless: FloatArray,
    encoded: Encoded,
) -> FloatArray:
    """(E,) chance that a worn contact is behind each reading of the sheets' likeliest explanations.

    pairs: one a sheet; table: (N,) its table; beliefs: (U, V, sources, A) of the pattern; unlike: (E,) chance
    that the reading is unlike it, negative where it is no evidence of one contact; faultless: (N,) chance
    that the unit has no other fault; encoded: what the problem was made of.
    """
    chance = np.zeros(len(pairs.pair))
    unit, which = problem.unit[pairs.sheet].take(pairs.pair), table[pairs.sheet].take(pairs.pair)
    single = (unlike >= 0) & (pairs.hypothesis < problem.mistakes).take(pairs.pair)
    place = np.where(single, pairs.source - CONSTANTS, 0)
    gaps = _gaps(encoded)
    differs = (unlike > LIKELY) & single & ~gaps[place]
    if not differs.any():
        return chance
    key = unit * problem.places + place
    keys, first = np.unique(key[differs], return_index=True)
    here = np.flatnonzero(single & np.isin(key, keys))
    group = np.searchsorted(keys, key[here])
    some = Pairs(pairs.sheet, pairs.hypothesis, pairs.pair[here], pairs.row[here], pairs.source[here])
    good, high = _figure_densities(problem, some, encoded)
    one = np.flatnonzero(differs)[first]  # a reading of each group, for what all of them share
    pattern = beliefs[unit[one], which[one], CONSTANTS:]
    mine = pattern[np.arange(len(keys)), place[one]]
    as_held = (mine * np.exp(_sums(np.log(good), group, len(keys)))).sum(axis=1)
    as_worn = 0.5 * np.exp(_sums(np.log(high), group, len(keys))).sum(axis=1)
    contacts = (1 - pattern[:, ~gaps, OPEN]).sum(axis=1)
    share = np.exp(problem.log_fault[-1])  # of units with a resistive common: all kinds have the same
    odds = share * (1 - mine[:, OPEN]) / np.maximum(contacts, 1.0) * as_worn / np.maximum(as_held, 1e-300)
    rivals = 1 + np.bincount(unit[one], odds, problem.units)[unit[one]]
    at = np.flatnonzero(differs[here])
    chance[here[at]] = (odds / rivals)[group[at]] * faultless[pairs.sheet].take(some.pair[at])
    return chance


def _gaps(encoded: Encoded) -> BoolArray:
    """(Q,) places behind a position: a contact is worn where the lever rests."""
    between = np.array([between for _, between in encoded.shape.slots], dtype=bool)
    return np.repeat(between, len(encoded.shape.pairs))


def _figure_densities(problem: Problem, some: Pairs, encoded: Encoded) -> tuple[FloatArray, FloatArray]:
    """(n, A) likelihood of each reading by the pattern's symbol, and (n, 2) by that of a worn contact, open
    or high; a figure that is on no level has its density in ln(Ω) besides."""
    settings = problem.settings
    like = np.maximum(entry_likelihoods(problem, some), 1e-12)
    good, high = like.copy(), like[:, [OPEN, encoded.alphabet.odd]]
    row = problem.row[some.row]
    odd = np.flatnonzero(encoded.code[row] == encoded.alphabet.odd_code)
    ohm = encoded.ohm[row[odd]]
    anywhere = 1 / np.log(settings.open_above_ohm / settings.closed_below_ohm)
    dirty = settings.contact_ohm * DIRTY_TIMES  # median of a lognormal, as a check has it
    away = np.log(ohm / dirty) / DIRTY_SPREAD
    reads = float(ndtr(-np.log(settings.closed_below_ohm / dirty) / DIRTY_SPREAD))  # as resistive
    dirt = np.exp(-0.5 * away**2) / (DIRTY_SPREAD * np.sqrt(2 * np.pi)) / reads
    good[odd] *= anywhere
    good[odd, CLOSED] *= (1 - DIRT_ANYWHERE) * dirt / anywhere + DIRT_ANYWHERE
    worn = np.where(ohm >= WORN_FROM_OHM, 1 / np.log(settings.open_above_ohm / WORN_FROM_OHM), 1e-12)
    high[odd] *= np.stack([np.full(len(odd), anywhere), worn], axis=1)
    return good, high


def _sums(logs: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """(groups, columns) sums of rows."""
    return np.stack([np.bincount(group, column, groups) for column in logs.T], axis=1)
