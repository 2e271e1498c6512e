"""Symbols, levels and likelihoods."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, contacts
from consensus.common_offset import best_offset

SETTINGS = Settings()
LEVELS = np.array([220.0, 680.0, 900.0])
ALPHABET = contacts.make_alphabet(LEVELS, SETTINGS)


def test_levels_are_what_two_units_show():
    ohms = np.array([219.0, 223.0, 681.0, 0.4, 5e6, 1500.0])
    levels = contacts.find_levels(ohms, np.array([0, 1, 0, 1, 1, 1]), SETTINGS)
    assert levels == pytest.approx([221.0], rel=0.01)


def test_contacts_in_series_and_in_parallel():
    closed, open_, odd = contacts.CLOSED, contacts.OPEN, ALPHABET.odd
    assert ALPHABET.series[2, 3] == 4  # 220 + 680 = 900
    assert ALPHABET.series[2, closed] == 2
    assert ALPHABET.series[open_, 3] == open_
    assert ALPHABET.parallel[closed, 3] == closed
    assert ALPHABET.parallel[open_, 3] == 3
    assert ALPHABET.parallel[3, 4] == odd


@pytest.mark.parametrize("rate", [0.001, 0.05, 0.4])
def test_likelihoods_of_an_alphabet_add_to_one(rate):
    table = contacts.likelihood_table(ALPHABET, np.array([rate]), np.array([rate]), 0.04, 0.004, SETTINGS)
    told = np.delete(table[0], [ALPHABET.wander_code, ALPHABET.censored_code], axis=0)
    assert told.sum(axis=0) == pytest.approx(np.ones(ALPHABET.size), abs=0.012)


def test_a_common_that_went_resistive_is_read_from_the_figures():
    ohms = np.array([412.0, 415.0, 409.0, 635.0, 1090.0])
    assert best_offset(ohms, np.array([0.0, 220.0, 680.0]), 0.03) == pytest.approx(411, abs=5)
    assert np.isnan(best_offset(np.array([25.0, 900.0, 7000.0]), np.array([0.0]), 0.03))
