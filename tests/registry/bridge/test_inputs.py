"""Facts and rows of one design become what the engine is given."""

from __future__ import annotations

import numpy as np

from registry.bridge.inputs import DesignFacts, ReadingRow, design_readings
from registry.bridge.tables import designs_from_table
from registry.formats.reading import ReadingKind
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidySheet

SHEETS = [
    TidySheet("s1", 0, "u1", "kim", workshop="north", read_at="harness", units_claimed=4, bound_variant="b"),
    TidySheet("s2", 0, "u2", "lee"),
]
FACTS = DesignFacts("A", ("P", "R"), ("1", "2", "3"), common="1", start_positions=("P",))
ROWS = [
    ReadingRow(1, 2, "3", "1", ReadingKind.OVER_LIMIT, None, None, limit=6e7),
    ReadingRow(0, 1, "2", "1", ReadingKind.VALUE, 0.4, 0.4, lead=0.1),
    ReadingRow(0, 1, "3", "1", ReadingKind.NOT_TAKEN, None, None),
    ReadingRow(0, 1, "3", "1", ReadingKind.CONTINUITY, None, None, between=True, sweep=2),
]


def test_what_only_the_registry_knows_of_a_sheet_reaches_the_engine() -> None:
    first, second = design_readings(FACTS, SHEETS, ROWS).sheets
    assert (first.workshop, first.read_at, first.units_claimed, first.bound_variant) == (
        "north",
        "harness",
        4,
        "b",
    )
    assert (second.workshop, second.read_at, second.units_claimed, second.bound_variant) == (
        None,
        "bench",
        1,
        None,
    )


def test_rows_come_out_as_from_the_same_file() -> None:
    text = """design,submission,unit,contributor,step,position,pin,against,reading,between,sweep,limit_ohm,\
lead_ohm
A,s1,u1,kim,1,P,2,1,0.4,,,,0.1
A,s1,u1,kim,1,P,3,1,cont,yes,2,,
A,s2,u2,lee,2,R,3,1,OL,,,6e7,
"""
    (from_file,) = designs_from_table(read_tidy(text.encode()))
    from_rows = design_readings(FACTS, SHEETS, ROWS)
    assert (from_rows.positions, from_rows.pins, from_rows.common) == (from_file.positions, from_file.pins, 0)
    for name, column in from_file.readings.__dict__.items():
        np.testing.assert_array_equal(from_rows.readings.__dict__[name], column, err_msg=name)


def test_start_positions_and_disputes_are_laid_on_the_grid() -> None:
    facts = DesignFacts(
        "A",
        ("P", "R", "N"),
        ("1", "2", "3"),
        common="1",
        start_positions=("P", "N"),
        disputed=(("R", False, "3", "1"),),
    )
    design = design_readings(facts, [], [])
    assert design.start_positions == (0, 2)
    assert design.disputed == frozenset({(1, False, 0, 2)})


def test_no_rows_are_no_readings() -> None:
    assert len(design_readings(FACTS, SHEETS, []).readings) == 0
