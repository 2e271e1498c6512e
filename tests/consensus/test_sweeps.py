"""Several sweeps of one place as one reading."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, contacts
from consensus.contacts import CONTACT, FIRST_LEVEL, LEAK, OVER_LIMIT
from consensus.sweeps import merge_sweeps

ALPHABET = contacts.make_alphabet(np.array([220.0]), Settings())
ODD_UP, ODD_DOWN = ALPHABET.into_open + 1, ALPHABET.from_contact + 1


def merged(*sweeps: tuple[int, float]) -> tuple[int, float, float, bool]:
    codes, ohms = (np.array(column) for column in zip(*sweeps, strict=True))
    found = merge_sweeps(codes, ohms, np.zeros(len(codes), dtype=np.int64), ALPHABET)
    return int(found.code[0]), float(found.ohm[0]), float(found.missed[0]), bool(found.torn[0])


NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("sweeps", "expected"),
    [
        ([(CONTACT, 0.4), (CONTACT, 0.8)], (CONTACT, 0.6, 0.0, False)),
        ([(CONTACT, NAN), (CONTACT, 0.8)], (CONTACT, 0.8, 0.0, False)),  # the buzzer has no figure
        ([(CONTACT, NAN), (CONTACT, NAN)], (CONTACT, NAN, 0.0, False)),
        ([(OVER_LIMIT, INF), (OVER_LIMIT, INF)], (OVER_LIMIT, INF, 1.0, False)),
        ([(OVER_LIMIT, INF), (CONTACT, 0.4), (CONTACT, 0.6)], (CONTACT, 0.5, 1 / 3, True)),
        ([(CONTACT, 0.4), (OVER_LIMIT, INF), (LEAK, 5e6)], (OVER_LIMIT, INF, 2 / 3, True)),
        ([(OVER_LIMIT, INF), (LEAK, 5e6)], (OVER_LIMIT, INF, 1.0, False)),
        ([(CONTACT, 0.4), (OVER_LIMIT, INF)], (ALPHABET.wander_code, NAN, 0.5, True)),
        ([(OVER_LIMIT, INF), (CONTACT, 0.4)], (ALPHABET.wander_code, NAN, 0.5, True)),
        ([(CONTACT, 0.4), (FIRST_LEVEL, 221.0)], (ODD_DOWN, NAN, 0.0, True)),
        ([(OVER_LIMIT, INF), (FIRST_LEVEL, 221.0)], (ODD_UP, NAN, 0.5, True)),
        ([(ALPHABET.wander_code, NAN), (CONTACT, 0.4)], (CONTACT, 0.4, 0.0, False)),
        ([(ALPHABET.wander_code, NAN)] * 2, (ALPHABET.wander_code, NAN, 0.0, False)),
        ([(ALPHABET.censored_code, INF), (FIRST_LEVEL, 221.0)], (FIRST_LEVEL, 221.0, 0.0, False)),
    ],
)
def test_what_most_sweeps_show(sweeps, expected):
    assert merged(*sweeps) == pytest.approx(expected, nan_ok=True)


def test_readings_of_one_sweep_stay_as_they_are():
    codes, ohms = np.array([CONTACT, OVER_LIMIT]), np.array([0.4, INF])
    found = merge_sweeps(codes, ohms, None, ALPHABET)
    assert found.code is codes and found.ohm is ohms
    assert found.missed.tolist() == [0, 1] and not found.torn.any()
