"""Tidy tables become the engine's arrays: natural order, the common, whatever the order of rows."""

from __future__ import annotations

import random

import numpy as np
import pytest

from consensus.readings import DesignReadings, Kind
from registry.bridge.tables import common_pin, designs_from_table, sheets_from_table
from registry.formats.reading import ReadingKind
from registry.formats.tidy_reader import read_tidy

HEADER = "design,submission,unit,contributor,step,position,pin,against,reading,sweep,between,class,held_good"
ROWS = [
    "A,s2,u2,lee,1,P,10,1,0.4,,,,",
    "A,s2,u2,lee,2,R,10,1,OL,,,,",
    "A,s1,u1,kim,1,P,2,1,0.4…35,2,,original,new",
    "A,s1,u1,kim,1,P,10,1,cont,,yes,original,new",
    "A,s1,u1,kim,2,R,2,1,,,,original,new",
    "B,s3,u1,kim,1,on,a,b,0,,,,",
]


def designs(rows: list[str]) -> list[DesignReadings]:
    return designs_from_table(read_tidy("\n".join([HEADER, *rows, ""]).encode()))


def plain(design: DesignReadings) -> tuple[object, ...]:
    columns = [column.tolist() for column in design.readings.__dict__.values()]
    return design.design, design.positions, design.pins, design.common, design.sheets, str(columns)


def test_kinds_have_the_engines_numbers() -> None:
    assert {kind.name: int(kind) for kind in Kind} == {
        kind.name: int(kind) for kind in ReadingKind if kind is not ReadingKind.NOT_TAKEN
    }


def test_pins_positions_and_sheets_stand_in_natural_order() -> None:
    first, second = designs(ROWS)
    assert (first.design, first.positions, first.pins) == ("A", ("P", "R"), ("1", "2", "10"))
    assert first.pins[first.common or 0] == "1"
    assert [sheet.name for sheet in first.sheets] == ["s1", "s2"]
    assert (first.sheets[0].source_class, first.sheets[0].held_good) == ("original", "new")
    assert (second.design, second.positions, second.pins) == ("B", ("on",), ("a", "b"))


def test_readings_are_laid_out_by_sheet_and_place_and_those_not_taken_are_left_out() -> None:
    readings = designs(ROWS)[0].readings
    assert readings.sheet.tolist() == [0, 0, 1, 1]
    assert readings.position.tolist() == [0, 0, 0, 1]
    assert readings.between.tolist() == [False, True, False, False]
    assert readings.sweep.tolist() == [2, 1, 1, 1]
    assert readings.pin.tolist() == [1, 2, 2, 2]
    assert readings.kind.tolist() == [Kind.RANGE, Kind.CONTINUITY, Kind.VALUE, Kind.OVER_LIMIT]
    assert readings.low[0] == 0.4 and readings.high[0] == 35
    assert np.isnan(readings.low[1]) and np.isnan(readings.high[3])


def test_the_order_of_rows_changes_nothing() -> None:
    shuffled = ROWS.copy()
    random.Random(7).shuffle(shuffled)
    assert [plain(design) for design in designs(shuffled)] == [plain(design) for design in designs(ROWS)]


def test_a_sheet_with_nothing_taken_stays_a_sheet() -> None:
    (design,) = designs(["A,s,u,c,1,P,2,1,,,,,"])
    assert len(design.sheets) == 1 and len(design.readings) == 0 and design.pins == ("1", "2")


def common(*sheets: list[tuple[int, int]], pins: int = 6) -> int | None:
    """sheets: (pin, against) of each reading."""
    rows = [(number, pin, against) for number, pairs in enumerate(sheets) for pin, against in pairs]
    sheet, pin, against = (np.array(column, dtype=np.int32) for column in zip(*rows, strict=True))
    return common_pin(sheet, pin, against, len(sheets), pins)


APART = [(0, 1), (2, 3), (4, 5)]  # separate contacts, each with two pins of its own


@pytest.mark.parametrize(
    ("sheets", "expected"),
    [
        (
            [[(1, 0), (2, 0), (3, 0)], [(1, 0), (2, 0)], [(1, 5), (2, 5)]],
            0,
        ),  # one numbered from the other face
        ([[(1, 3), (2, 3), (4, 3), (0, 1), (1, 2)]], 3),  # some readings from line to line
        ([[(0, 1), (2, 3), (4, 5)]], None),  # separate switches: pairs without a common
        ([APART, APART, [(1, 0), (2, 0), (3, 0)]], None),  # most sheets read pairs
        ([[(1, 2), (3, 2)], [(1, 4), (3, 4)]], 2),  # as many of each: the first in natural order
        (
            [[*APART, (0, 1), (0, 1)], [*APART, (4, 5), (4, 5)]],
            None,
        ),  # one of them read more often is no common
        ([[(0, 1), (0, 1)], [(2, 3)], [(2, 3)]], None),  # nor where a sheet reads one of them alone
        ([[(0, 1)], [(0, 1)]], 1),  # a single line
        ([[(0, 1)], [(2, 1)]], 1),  # a line a sheet
        ([[(0, 1), (1, 2), (2, 3)]], None),  # from line to line all along
    ],
)
def test_the_common_is_what_most_sheets_measure_against(
    sheets: list[list[tuple[int, int]]], expected: int | None
) -> None:
    assert common(*sheets) == expected


def test_separate_contacts_with_rows_missing_have_no_common() -> None:
    places = [(n, step, pair) for n in range(5) for step in range(1, 6) for pair in ("1,2", "3,4")]
    rows = [
        f"A,s{n},u{n},c{n},{step},P{step},{pair},OL,,,,"
        for n, step, pair in places
        if pair == "1,2" or step > n
    ]
    (design,) = designs(rows)
    assert design.common is None


def test_each_sheet_by_itself_has_its_own_steps_pins_and_common() -> None:
    table = read_tidy(
        "\n".join(
            [HEADER, "A,s,u,c,1,P,2,1,0.4,,,,", "A,s,u,c,3,N,7,1,0.4,,,,", "A,t,u,c,1,X,b,a,OL,,yes,,", ""]
        ).encode()
    )
    first, second = sheets_from_table(table)
    assert (first.positions, first.pins, first.common) == (("P", "2", "N"), ("1", "2", "7"), 0)
    assert (second.positions, second.pins, second.common) == (("X", "2"), ("a", "b"), 0)
    assert first.readings.position.tolist() == [0, 2] and first.readings.pin.tolist() == [1, 2]
