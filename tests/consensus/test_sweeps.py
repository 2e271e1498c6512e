"""Several sweeps of one place as one reading."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Settings, agree, contacts
from consensus.contacts import CONTACT, FIRST_LEVEL, LEAK, OVER_LIMIT
from consensus.sweeps import merge_sweeps
from tests.consensus.benches import PATTERN, bench, good_sheets, typed_sheet

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


def test_sweeps_that_contradict_each_other_agree_with_nothing() -> None:
    """One unit in seven shows P on pin 2 closed, then open: it is read there, and agrees with neither."""
    torn = typed_sheet(PATTERN, sweeps=2, again={2: ["c c c o", *PATTERN[1:]]})
    _, (chart,) = agree([bench([*good_sheets(6), torn])], Settings())
    cell = next(one for one in chart.variants[0].cells if (one.position, one.pin) == ("S1", "2"))
    assert (cell.state, cell.units, cell.agreeing) == ("open", 7, 6)


def test_a_missed_sweep_of_two_is_no_dirt() -> None:
    """Of closed contacts that a sweep found open nothing is learned about dirty ones."""
    missed = [["o o c o", *PATTERN[1:]], [PATTERN[0], "o o c c", *PATTERN[2:]]]
    torn = [typed_sheet(PATTERN, sweeps=2, again={2: rows}) for rows in missed * 6]
    clean = [typed_sheet(PATTERN, sweeps=2) for _ in torn]
    share = [agree([bench(sheets)], Settings())[0].dirty for sheets in (torn, clean)]
    assert share[0] == pytest.approx(share[1], rel=0.05)
