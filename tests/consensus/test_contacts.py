"""Symbols, levels and likelihoods."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, contacts
from consensus.common_offset import best_offset
from tests.consensus.benches import bench, typed_sheet

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
    told = table[0, : ALPHABET.odd_code + 1]  # the others are made up of these
    assert told.sum(axis=0) == pytest.approx(np.ones(ALPHABET.size), abs=0.012)


def test_a_common_that_went_resistive_is_read_from_the_figures():
    ohms = np.array([412.0, 415.0, 409.0, 635.0, 1090.0])
    assert best_offset(ohms, np.array([0.0, 220.0, 680.0]), 0.03) == pytest.approx(411, abs=5)
    assert np.isnan(best_offset(np.array([25.0, 900.0, 7000.0]), np.array([0.0]), 0.03))


def codes_of(*texts: str, alphabet=ALPHABET, **columns) -> list[int]:
    design = bench(
        [typed_sheet([" ".join(texts)], **columns)], pins=[str(pin) for pin in range(len(texts) + 1)]
    )
    ohms = contacts.contact_ohms(design.readings)
    return contacts.reading_codes(design.readings, ohms, alphabet, SETTINGS).tolist()


def test_a_range_is_coded_by_the_states_of_its_ends():
    odd = len(LEVELS)
    assert codes_of("0.4…35", "0.4…220", "1k…OL", "220…OL", "50k…5M") == [
        ALPHABET.from_contact + odd,
        ALPHABET.from_contact,
        ALPHABET.into_open + odd,
        ALPHABET.into_open,
        ALPHABET.into_open + odd,
    ]
    assert codes_of("0.4…5M", "0.4…OL") == [ALPHABET.wander_code] * 2


def test_a_range_within_a_state_is_its_middle():
    assert codes_of("0.4…9.0", "200.0…240.0", "500k…5M") == [
        contacts.CONTACT,
        contacts.FIRST_LEVEL,
        contacts.LEAK,
    ]


def test_the_leads_come_off_both_ends_of_a_range():
    assert codes_of("1.4…20.5", lead=1.0) == [contacts.CONTACT]


def test_the_limit_of_a_poor_meter_is_no_figure():
    assert codes_of("2k", "OL", "1k…OL", limit=2000.0) == [
        ALPHABET.censored_code,
        ALPHABET.censored_code,
        ALPHABET.into_open + len(LEVELS),
    ]
    assert codes_of("2k", limit=20_000.0) == [ALPHABET.odd_code]
