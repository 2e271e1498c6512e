"""Units over time as a file: what is read, and every error with its line and column."""

from __future__ import annotations

import numpy as np
import pytest

from registry.errors import RegistryErrors
from registry.formats.life_table import read_life
from registry.formats.tidy_columns import SOURCE_CLASSES

HEADER = "design,unit,class,entered_km,good_km,failed_km\n"


def errors_of(text: str) -> list[tuple[int | None, str | None, str]]:
    with pytest.raises(RegistryErrors) as raised:
        read_life(text.encode())
    return [(error.line, error.column, error.code) for error in raised.value]


def test_empty_fields_are_not_known() -> None:
    table = read_life(
        (HEADER + "A,1,original,20000,50000,60000\nA,2,,,84000.5,\nB,1,equivalent,,,7e3\n").encode()
    )
    assert table.designs == ("A", "B")
    assert [SOURCE_CLASSES[n] for n in table.source_class] == ["original", "unknown", "equivalent"]
    assert table.entered.tolist() == [20000, 0, 0]
    assert np.array_equal(table.good, [50000, 84000.5, np.nan], equal_nan=True)
    assert np.array_equal(table.failed, [60000, np.nan, 7000], equal_nan=True)


def test_semicolons_a_mark_of_order_and_other_columns_are_read() -> None:
    text = "\ufeffunit;design;good_km;colour\n1;A;84000,5;red\n"
    table = read_life(text.encode())
    assert table.good.tolist() == [84000.5]
    assert "colour" in table.warnings[0]


def test_all_errors_come_at_once() -> None:
    text = HEADER + (
        'A,1,original,,"84,000",\n'  # ambiguous
        "A,2,orig,x,5,4\n"  # class, distance
        "A,3,,,5,4\n"  # failed before it was good
        "A,4,,7,,5\n"  # failed before it was seen
        "A,5,,,-5,\n"
        "A,5,,,9e9,\n"
        ",6,,,5,\n"
        "A,7,,,5\n"
    )
    assert errors_of(text) == [
        (2, "good_km", "distance_ambiguous"),
        (3, "class", "word_unknown"),
        (3, "entered_km", "distance_unreadable"),
        (4, "failed_km", "distance_order"),
        (5, "failed_km", "distance_order"),
        (6, "good_km", "distance_unreadable"),
        (7, "good_km", "distance_impossible"),
        (8, "design", "value_missing"),
        (9, None, "row_width"),
    ]


def test_a_unit_stands_in_the_file_once() -> None:
    assert errors_of(HEADER + "A,1,,,5,\nB,1,,,5,\nA,1,,,6,\n") == [(4, "unit", "unit_twice")]


@pytest.mark.parametrize("text", ["", HEADER, "design,good_km\nA,5\n", "design,unit,unit\nA,1,1\n"])
def test_files_without_units_or_columns_are_refused(text: str) -> None:
    assert errors_of(text)


def test_good_before_it_was_seen_is_lifted_with_a_warning() -> None:
    table = read_life((HEADER + "A,1,,50000,45000,60000\n").encode())
    assert table.good.tolist() == [50000]
    assert "line 2" in table.warnings[0]
