"""Which readings tell the resistance of a place's contact, and which tell its leakage.

A reading counts where it shows what the pattern holds there, by a code of that contact alone: one that
wandered between two contacts, or is of another level, says nothing of this one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import CONTACT, FIRST_LEVEL, LEAK, OPEN, OVER_LIMIT
from consensus.encoding import Encoded
from consensus.explanation import Explanation

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SLIPPED = 0.5  # chance of being a slip from which a reading is no figure of its place


class Telling(NamedTuple):
    """Entries of an explanation: those that show their place's contact in Ω, and those that show it open."""

    contact: IntArray
    opened: IntArray


def likeliest_symbols(belief: FloatArray) -> IntArray:
    """(Q,) the likeliest symbol of the likeliest state.  belief: (Q, A)."""
    resistive = belief[:, 2:]
    states = np.column_stack([belief[:, :2], resistive.sum(axis=1)]).argmax(axis=1)
    return np.where(states == 2, resistive.argmax(axis=1) + 2, states)


def code_of(symbol: IntArray) -> IntArray:
    """The code that a contact shows, by its symbol: closed, a level or odd; of open there are two."""
    return np.where(symbol >= 2, symbol + (FIRST_LEVEL - 2), CONTACT)


def telling_entries(encoded: Encoded, explained: Explanation, here: BoolArray, symbol: IntArray) -> Telling:
    """Which of the entries `here` tell their place's figure.  symbol: (Q,) what the pattern holds."""
    entry = np.flatnonzero(here & explained.figure & (explained.differs < SLIPPED))
    code, expected = explained.code[entry], symbol[explained.place[entry]]
    figure = np.isfinite(encoded.ohm[explained.row[entry]])
    contact = (expected != OPEN) & (code == code_of(expected)) & figure
    opened = (expected == OPEN) & ((code == OVER_LIMIT) | (code == LEAK))
    return Telling(entry[contact], entry[opened])


def meter_limits(encoded: Encoded) -> FloatArray:
    """(R,) Ω: the limit of the meter behind each merged reading (the first of its sweeps)."""
    limit = encoded.readings.readings.limit
    if encoded.sweeps is None:
        return limit
    return np.asarray(limit[np.unique(encoded.sweeps, return_index=True)[1]])


def unit_groups(place: IntArray, unit: IntArray) -> tuple[IntArray, IntArray]:
    """(n,) places and (readings,) index among them: one entry a unit and place, sorted by place."""
    most = int(unit.max(initial=0)) + 1
    key, inverse = np.unique(place * most + unit, return_inverse=True)
    return key // most, inverse.ravel()
