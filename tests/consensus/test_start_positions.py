"""Faults that could pass for a start position, worked out by hand on a small chart."""

from __future__ import annotations

import pytest

from consensus.chart_table import prepared_chart
from consensus.settings import Settings
from consensus.start_positions import excluding_cells, passing_faults, start_indices
from consensus.unit_grid import grid_of
from tests.consensus.charts import chart

# pins 2, 3, 4: line 4 open makes R read as N
TABLE = prepared_chart(chart(["x.x", ".xx", ".x.", "xxx"]), Settings()).tables[0]


@pytest.mark.parametrize(
    ("positions", "named", "expected"),
    [
        (("P", "R", "N", "D"), None, (0, 2)),
        (("p", "r", " n"), None, (0, 2)),
        (("S1", "S2"), None, ()),
        (("P", "R", "N"), ("R",), (1,)),
        (("P", "R", "N"), (), ()),
    ],
)
def test_start_positions_are_those_named_else_those_of_custom(positions, named, expected) -> None:
    assert start_indices(positions, named) == expected


def test_an_open_line_that_makes_reverse_read_as_neutral_is_found() -> None:
    faults = grid_of(TABLE.shape).faults
    found = {(faults[f].kind, faults[f].pins, p, s) for f, p, s in passing_faults(TABLE, (0, 2))}
    assert ("line_open", (3,), 1, 2) in found
    # the contact of line 4 in R worn through does the same
    assert any(kind == "worn_contact" and position == 1 and start == 2 for kind, _, position, start in found)
    assert all(position not in (0, 2) for _, _, position, _ in found)


def test_without_start_positions_nothing_passes_for_one() -> None:
    assert passing_faults(TABLE, ()) == []


def test_the_readings_that_exclude_a_fault_are_those_that_it_changes() -> None:
    faults = grid_of(TABLE.shape).faults
    at = next(i for i, fault in enumerate(faults) if fault.kind == "line_open" and fault.pins == (3,))
    told = excluding_cells(TABLE, [at])[0].reshape(4, 3)
    assert told.tolist() == [[False, False, True], [False, False, True], [False] * 3, [False, False, True]]
