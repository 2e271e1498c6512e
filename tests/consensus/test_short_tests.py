"""Short tests against brute force over all sets of readings."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from consensus import short_test
from consensus.chart_table import prepared_chart
from consensus.settings import Settings
from consensus.short_tests import fault_symbols
from tests.consensus.charts import chart


def smallest(differs: np.ndarray) -> int:
    for size in range(differs.shape[1] + 1):
        for chosen in combinations(range(differs.shape[1]), size):
            if differs[:, list(chosen)].any(axis=1).all():
                return size
    raise AssertionError("no set tells")


@pytest.mark.parametrize("rows", [["x.x", ".xx", ".x."], ["x..", "xx.", ".xx"], ["xa", "b.", ".x", "ac"]])
def test_sets_are_the_smallest(rows: list[str]) -> None:
    given = chart(rows)
    test = short_test(given)
    table = prepared_chart(given, Settings()).tables[0]
    symbols, kinds = fault_symbols(table)
    differs = symbols[1:] != symbols[0]
    worn = np.array([kind == "worn_contact" for kind in kinds[1:]])
    assert test.exact
    assert len(test.lines) == smallest(differs[~worn])
    assert len(test.good) == smallest(differs)
    assert len(test.lines) <= len(test.good) <= len(test.cause) <= test.full == symbols.shape[1]


def test_every_closed_place_is_needed_to_exclude_a_worn_contact() -> None:
    test = short_test(chart(["x.x", ".xx", ".x."]))
    taken = {(reading.position, reading.pin) for reading in test.good}
    assert {("P", "2"), ("P", "4"), ("R", "3"), ("R", "4"), ("N", "3")} <= taken


def test_the_cause_set_names_each_fault_that_all_readings_can_name() -> None:
    given = chart(["x.x", ".xx", ".x.", "xx."])
    test = short_test(given)
    table = prepared_chart(given, Settings()).tables[0]
    symbols, _ = fault_symbols(table)
    places = {
        (given.positions[at // 3], given.pins[at % 3 + 1]): at for at in range(symbols.shape[1])
    }  # three lines, row by row
    chosen = [places[reading.position, reading.pin] for reading in test.cause]
    plain = np.where(symbols == table.worn, 0, symbols)
    for one, other in combinations(range(len(plain)), 2):
        if (plain[one] != plain[other]).any() and not {table.worn} & set(symbols[[one, other]].ravel()):
            assert (symbols[one][chosen] != symbols[other][chosen]).any()


def test_expected_states_are_those_of_a_good_unit() -> None:
    test = short_test(chart(["xa", "b.", ".x"]))
    words = {(r.position, r.pin): r.expected for r in [*test.lines, *test.good]}
    assert words.get(("P", "2"), "closed") == "closed"
    assert words.get(("P", "3"), "resistive") == "resistive"
