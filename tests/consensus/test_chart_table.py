"""Charts as arrays: symbols, doubt, levels and their sums, and what is kept between calls."""

from __future__ import annotations

import gc

import numpy as np
import pytest

from consensus import Settings
from consensus.chart_table import chart_alphabet, chart_levels, chart_shape, chart_table, prepared_chart
from consensus.contacts import CLOSED, OPEN
from tests.consensus.charts import chart

SETTINGS = Settings()


def test_places_hold_their_likeliest_symbol_and_the_doubt_about_it() -> None:
    one = chart(["x.", "?x"], p=0.97)
    table = prepared_chart(one, SETTINGS).tables[0]
    assert table.symbols.tolist() == [CLOSED, OPEN, OPEN, CLOSED]
    assert table.doubt == pytest.approx(
        np.array([0.03, 0.03, 0.5, 0.03]) + np.array([1, 1, 0, 1]) * SETTINGS.unit_deviation
    )


def test_levels_within_a_hundredth_are_one_and_sums_are_symbols_too() -> None:
    one = chart(["ab", "ax"])
    assert chart_levels(one) == pytest.approx([220.0, 1200.0], rel=0.01)
    levels = chart_alphabet(one, SETTINGS).levels
    for ohm in (220.0, 1200.0, 440.0, 1420.0, 2400.0, 110.0, 600.0):
        assert np.abs(levels / ohm - 1).min() < 0.01
    assert len(prepared_chart(one, SETTINGS).levels) == 2


def test_a_chart_without_resistors_has_no_levels() -> None:
    assert chart_alphabet(chart(["x.", ".x"]), SETTINGS).size == 3


def test_a_pair_of_lines_that_a_sheet_reads_is_named_but_no_place() -> None:
    shape = chart_shape(chart(["x.", ".x"]), [(1, 2)])
    assert shape.pairs == ((0, 1), (0, 2))
    assert shape.named == ((0, 1), (0, 2), (1, 2))
    assert shape.places == 4


def test_prepared_charts_are_those_of_the_object_asked_for() -> None:
    one = chart(["x.", ".x"])
    assert prepared_chart(one, SETTINGS) is prepared_chart(one, SETTINGS)
    other = Settings(unit_deviation=0.01)
    assert prepared_chart(one, other).tables[0].doubt[0] != prepared_chart(one, SETTINGS).tables[0].doubt[0]
    for _ in range(50):
        # a new object may stand where an old one stood in memory: it must not get its arrays
        made = chart(["xx", ".."])
        assert prepared_chart(made, SETTINGS).tables[0].symbols.tolist() == [CLOSED, CLOSED, OPEN, OPEN]
        del made
        gc.collect(0)
        again = chart(["..", "xx"])
        assert prepared_chart(again, SETTINGS).tables[0].symbols.tolist() == [OPEN, OPEN, CLOSED, CLOSED]


def test_each_variant_has_its_own_table() -> None:
    one = chart(["x.", ".x"], variants=[["xx", ".x"]])
    shape = chart_shape(one, ())
    alphabet = chart_alphabet(one, SETTINGS)
    tables = [chart_table(one, variant, shape, alphabet, SETTINGS) for variant in one.variants]
    assert tables[0].symbols.tolist() == [CLOSED, OPEN, OPEN, CLOSED]
    assert tables[1].symbols.tolist() == [CLOSED, CLOSED, OPEN, CLOSED]
    assert [table.share for table in tables] == [0.7, 0.3]
