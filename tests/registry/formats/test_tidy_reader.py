"""The tidy form is read in columns, and everything that is wrong with a file is said in one go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.errors import RegistryErrors
from registry.formats.reading import ReadingKind
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable
from registry.formats.tidy_writer import table_rows
from tests.registry.formats.tidy_made import HEADER, refused, tidy

WORLDS = Path(__file__).parents[2] / "data" / "worlds"


def test_each_reading_becomes_an_entry_of_each_column() -> None:
    table = read_tidy(
        tidy(
            "A,s1,u1,kim,1,P,2,1,0.4,2,yes,60000000,0.1,original,new",
            "A,s1,u1,kim,2,R,3,1,OL,,,,,original,new",
            "B,s2,u9,lee,1,P,2,1,,1,no,,,,",
            header=HEADER + ",sweep,between,limit_ohm,lead_ohm,class,held_good",
        )
    )
    assert table.designs == ("A", "B")
    assert [sheet.name for sheet in table.sheets] == ["s1", "s2"]
    first, second = table.sheets
    assert (first.unit, first.contributor, first.source_class, first.held_good) == (
        "u1",
        "kim",
        "original",
        "new",
    )
    assert (second.source_class, second.held_good) == ("unknown", "worked")
    assert table.sheet.tolist() == [0, 0, 1]
    assert table.step.tolist() == [1, 2, 1]
    assert [table.labels[code] for code in table.pin] == ["2", "3", "2"]
    assert table.sweep.tolist() == [2, 1, 1]
    assert table.between.tolist() == [True, False, False]
    assert table.kind.tolist() == [ReadingKind.VALUE, ReadingKind.OVER_LIMIT, ReadingKind.NOT_TAKEN]
    assert table.low[0] == table.high[0] == 0.4
    assert np.isnan(table.low[1:]).all()
    assert table.limit.tolist() == [6e7, 2e7, 2e7]
    assert table.lead.tolist() == [0.1, 0.0, 0.0]
    assert [table.typed[code] for code in table.reading] == ["0.4", "OL", ""]
    assert table.line.tolist() == [2, 3, 4]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("separator", [",", ";"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_bom_separator_and_line_ends_make_no_difference(mark: bytes, separator: str, ending: str) -> None:
    lines = [HEADER, "A,s,u,c,1,P,2,1,0.4", "A,s,u,c,1,P,3,1,∞"]
    data = mark + ending.join(lines).replace(",", separator).encode()
    table = read_tidy(data)
    assert table.kind.tolist() == [ReadingKind.VALUE, ReadingKind.OVER_LIMIT]
    assert table.line.tolist() == [2, 3]


def test_columns_may_stand_in_any_order_and_unknown_ones_are_named() -> None:
    data = tidy(
        "0.4,x,1,2,P,1,c,u,s,A,",
        header="reading,colour,against,pin,position,step,contributor,unit,Submission,DESIGN,",
    )
    table = read_tidy(data)
    assert len(table) == 1
    assert table.warnings == ("The column colour is not known and kept out.",)


def test_empty_lines_and_lines_of_separators_are_passed_over() -> None:
    table = read_tidy(tidy("", "A,s,u,c,1,P,2,1,0.4", ",,,,,,,,", "   ", "A,s,u,c,1,P,3,1,OL"))
    assert table.line.tolist() == [3, 6]


def test_line_numbers_stay_right_behind_quoted_line_breaks() -> None:
    header = HEADER + ",note"
    rows = [
        'A,s,u,c,1,P,2,1,0.4,"two\nlines"',
        "A,s,u,c,1,P,3,1,what,",
        'A,s,u,c,1,P,4,1,-1,"a\r\nb"',
        "A,s,u,c,0,P,5,1,1,",
    ]
    assert refused(tidy(*rows, header=header)) == [
        (4, "reading", "reading_unreadable"),
        (5, "reading", "reading_negative"),
        (7, "step", "number_impossible"),
    ]


def test_a_decimal_comma_is_read_from_a_semicolon_file() -> None:
    assert read_tidy(tidy("A;s;u;c;1;P;2;1;0,4", header=HEADER.replace(",", ";"))).low.tolist() == [0.4]


def test_readings_below_their_leads_are_warned_of_and_kept() -> None:
    table = read_tidy(tidy("A,s,u,c,1,P,2,1,0.2,0.9", "A,s,u,c,1,P,3,1,0.8,0.9", header=HEADER + ",lead_ohm"))
    assert table.low.tolist() == [0.2, 0.8]
    assert table.warnings == (
        "1 reading is below its lead resistance (line 2); was the meter zeroed already?",
    )


def test_a_range_up_to_over_limit_ends_at_its_rows_limit() -> None:
    table = read_tidy(tidy("A,s,u,c,1,P,2,1,0.4…OL,6e7", header=HEADER + ",limit_ohm"))
    assert (table.low[0], table.high[0]) == (0.4, 6e7)


def test_the_same_place_may_be_read_in_another_sweep_between_and_by_another_sheet() -> None:
    rows = [
        "A,s,u,c,1,P,2,1,0.4,1,no",
        "A,s,u,c,1,P,1,2,0.4,2,no",
        "A,s,u,c,1,P,2,1,OL,1,yes",
        "A,t,u,c,1,P,2,1,0.4,1,no",
    ]
    assert len(read_tidy(tidy(*rows, header=HEADER + ",sweep,between"))) == 4


def test_labels_may_differ_between_submissions() -> None:
    assert len(read_tidy(tidy("A,s,u,c,1,P,2,1,0.4", "A,t,u,c,1,Park,2,1,0.4"))) == 2


@pytest.mark.parametrize("pin", ["2", '"2"'])
def test_progress_goes_up_to_the_end_of_the_file(pin: str) -> None:
    told: list[float] = []
    rows = [f"A,s{sheet},u,c,{step},P{step},{pin},1,0.4" for sheet in range(100) for step in range(1, 31)]
    read_tidy(tidy(*rows), progress=told.append)
    assert told == sorted(told) and len(told) >= 3 and 0 <= told[0] <= told[-1] <= 1


@pytest.mark.parametrize("world", ["few-units", "ordinary", "two-variants"])
def test_the_sample_worlds_are_read_whole(world: str) -> None:
    path = WORLDS / world / "readings.csv"
    with path.open() as lines:
        expected = sum(1 for line in lines) - 1
    assert len(read_tidy(path)) == expected


def test_errors_beyond_the_thousandth_are_counted() -> None:
    with pytest.raises(RegistryErrors) as raised:
        read_tidy(tidy(*["A,s,u,c,0,P,2,1,0.4"] * 1500))
    assert (len(raised.value.errors), raised.value.total) == (1000, 1500)


row_text = st.text(alphabet='AsucP12.4OL,;"\n\r \x00é=-', max_size=30)


@settings(max_examples=300, deadline=None)
@given(st.lists(row_text, max_size=6), st.sampled_from([",", ";"]), st.binary(max_size=6))
def test_any_bytes_are_read_or_refused_with_their_lines(rows: list[str], separator: str, tail: bytes) -> None:
    data = tidy(*rows, header=HEADER.replace(",", separator)) + tail
    try:
        read_tidy(data)
    except RegistryErrors as errors:
        lines = max(data.count(b"\n") + data.count(b"\r"), 1) + 1
        assert all(error.line is None or 1 <= error.line <= lines for error in errors)


@given(st.binary(max_size=200))
def test_any_file_at_all_is_read_or_refused(data: bytes) -> None:
    with pytest.raises(RegistryErrors):
        read_tidy(data)


field = st.sampled_from(["A", "s", "u", "1", "2", "0.4", "OL", "", " ", "x y", "-1", "0", "é"])


def outcome(data: bytes) -> TidyTable | list[tuple[int | None, str | None, str]]:
    try:
        return read_tidy(data)
    except RegistryErrors as errors:
        return [(error.line, error.column, error.code) for error in errors]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(field, min_size=8, max_size=10), max_size=8))
def test_a_file_with_quotes_is_read_like_the_same_without(rows: list[list[str]]) -> None:
    bare = tidy(*[",".join(row) for row in rows])
    quoted = tidy(*[",".join(f'"{text}"' for text in row) for row in rows])
    left, right = outcome(bare), outcome(quoted)
    if isinstance(left, TidyTable):
        assert isinstance(right, TidyTable)
        assert list(table_rows(left)) == list(table_rows(right))
    else:
        assert left == right


def test_a_file_may_have_more_positions_and_sweeps_than_a_lever_switch():
    """The form sets no limit (labelled data of other fields have hundreds of items a sheet)."""
    table = read_tidy(tidy("A,s,u,c,65,P,2,1,1,1", "A,s,u,c,10000,Q,2,1,1,10000", header=HEADER + ",sweep"))
    assert (table.step.tolist(), table.sweep.tolist()) == ([65, 10000], [1, 10000])
