"""What is written is sorted, as typed, and reads back to the same bytes."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.formats.reading import ReadingKind
from registry.formats.tidy_columns import HELD_GOOD, SOURCE_CLASSES
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_writer import TidyRow, table_rows, write_tidy

WORLDS = Path(__file__).parents[2] / "data" / "worlds"
ROW = TidyRow("A", "s", "u", "c", 1, "P", "2", "1", "0.4", ReadingKind.VALUE, 0.4, 0.4)


def written(*rows: TidyRow) -> list[str]:
    return "".join(write_tidy(rows)).splitlines()[1:]


@pytest.mark.parametrize("world", ["few-units", "ordinary", "two-variants"])
def test_written_read_and_written_again_gives_the_same_bytes(world: str) -> None:
    first = "".join(write_tidy(table_rows(read_tidy(WORLDS / world / "readings.csv")))).encode()
    second = "".join(write_tidy(table_rows(read_tidy(first)))).encode()
    assert first == second


def test_rows_are_sorted_whatever_their_order() -> None:
    rows = [
        ROW._replace(pin="10"),
        ROW._replace(pin="2", sweep=2),
        ROW._replace(design="B"),
        ROW._replace(step=2, position="R"),
        ROW,
    ]
    places = [tuple(line.split(",")[place] for place in (0, 4, 6, 9)) for line in written(*rows)]
    assert places == [
        ("A", "1", "2", "1"),
        ("A", "1", "10", "1"),
        ("A", "1", "2", "2"),
        ("A", "2", "2", "1"),
        ("B", "1", "2", "1"),
    ]
    assert written(*rows) == written(*reversed(rows))


@pytest.mark.parametrize("typed", [",4", "0.40", "R40", ".4 Ω"])
def test_a_reading_is_written_as_typed(typed: str) -> None:
    table = read_tidy("".join(write_tidy([ROW._replace(typed=typed)])).encode())
    assert table.typed == (typed,)
    assert table.low.tolist() == [0.4]


def test_a_meters_own_sign_is_written_as_over_limit() -> None:
    row = ROW._replace(typed="1", kind=ReadingKind.OVER_LIMIT, low=None, high=None)
    assert written(row)[0].split(",")[8] == "OL"


def test_a_typed_text_that_says_something_else_gives_way_to_the_figures() -> None:
    row = ROW._replace(typed="----", kind=ReadingKind.RANGE, low=0.4, high=1200.0)
    assert written(row)[0].split(",")[8] == "0.4…1200"


def test_a_formula_that_got_past_the_entrances_does_not_run() -> None:
    assert written(ROW._replace(unit="=1+1"))[0].startswith("A,s,'=1+1,")


names = (
    st.text(alphabet="Aé1 ,;\"'+-", min_size=1, max_size=5)
    .map(str.strip)
    .filter(lambda name: name and not name.startswith(("+", "-")))
)
rows = st.builds(
    TidyRow,
    design=names,
    submission=names,
    unit=names,
    contributor=names,
    step=st.integers(1, 64),
    position=names,
    pin=names.map("2".__add__),
    against=names.map("1".__add__),
    typed=st.just("0.4"),
    kind=st.just(ReadingKind.VALUE),
    low=st.just(0.4),
    high=st.just(0.4),
    sweep=st.integers(1, 99),
    between=st.booleans(),
    limit_ohm=st.floats(1, 1e12),
    lead_ohm=st.floats(0, 1000),
    source_class=st.sampled_from(SOURCE_CLASSES),
    held_good=st.sampled_from(HELD_GOOD),
)


@settings(deadline=None)
@given(rows)
def test_any_row_survives_writing_and_reading(row: TidyRow) -> None:
    assert list(table_rows(read_tidy("".join(write_tidy([row])).encode()))) == [row]
