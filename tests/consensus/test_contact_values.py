"""Only what shows a cell's own contact is a figure of it, and a unit counts once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from consensus import Reliability, Settings, agree, agree_design
from consensus.contact_values import likeliest_symbols, telling_entries
from consensus.encoding import encode
from consensus.engine import judge_design
from consensus.problem import make_problem
from tests.consensus.benches import PATTERN, bench, good_sheets, typed_sheet
from tests.simulation.files import read_world

SETTINGS = Settings()
BEFORE = Reliability.from_settings(SETTINGS)
ORDINARY = Path(__file__).parents[1] / "data" / "worlds" / "ordinary"
LADDER = ("220 2.2k 680", "2.2k o 220", "o 220 c", "c 2.2k 680", "2.2k 220 o", "220 c 2.2k")


def cell_at(sheets, position, pin, pins="12345"):
    chart = agree_design(bench(sheets, pins=pins), BEFORE, SETTINGS)
    return next(cell for cell in chart.variants[0].cells if (cell.position, cell.pin) == (position, pin))


def test_a_reading_that_wandered_into_the_open_is_no_figure_of_a_closed_contact():
    # 0.4…5M would be 1414 Ω, the geometric mean
    cell = cell_at([*good_sheets(3), typed_sheet(["o 0.4…5M c o", *PATTERN[1:]])], "S1", "3")
    assert cell.state == "closed"
    assert (cell.ohm.typical, cell.ohm.values) == (pytest.approx(0.4, abs=1e-3), 3)


def test_another_level_is_no_figure_of_a_resistive_contact():
    # a slip of the eye: 680 Ω of the next line
    cell = cell_at([*good_sheets(5, LADDER), typed_sheet(["220 680 680", *LADDER[1:]])], "S1", "3", "1234")
    assert cell.state == "resistive"
    assert (cell.ohm.typical, cell.ohm.values) == (pytest.approx(2200, rel=1e-3), 5)


def test_what_is_likelier_a_slip_is_no_figure():
    encoded = encode(bench(good_sheets(4)), SETTINGS)
    judged = judge_design(encoded, make_problem(encoded, BEFORE, SETTINGS))
    here, symbol = judged.explained.place >= 0, likeliest_symbols(judged.belief[0])
    assert len(telling_entries(encoded, judged.explained, here, symbol).contact) == 4 * 14
    doubted = replace(judged.explained, differs=np.full(len(here), 0.6))
    assert [len(of) for of in telling_entries(encoded, doubted, here, symbol)] == [0, 0]


def test_a_cell_of_the_ordinary_sample_has_no_figure_of_other_levels():
    # D0004, S3, pin 2 is 56 Ω; 3.87k and 174.7 were read there as well
    designs, truth = read_world(ORDINARY)
    _, charts = agree(designs, SETTINGS)
    chart = next(chart for chart in charts if chart.design == "D0004")
    cell = next(cell for cell in chart.variants[0].cells if (cell.position, cell.pin) == ("S3", "2"))
    design = truth["designs"]["D0004"]
    row, column = design["positions"].index("S3"), design["pins"].index("2")
    assert design["variants"][0][row][column] == 56.0
    assert abs(cell.ohm.typical - 56) < 3 * cell.ohm.u + 1
    assert cell.ohm.values == 7  # units; 8 readings entered it before


def test_one_unit_read_many_times_is_one_figure():
    # contract: the acceptance range is of one new unit, of which one tells little however often it is read
    once = cell_at([typed_sheet(PATTERN, unit="u", contributor="a")], "S1", "3")
    often = cell_at(
        [typed_sheet(PATTERN, unit="u", contributor=f"c{at}", name=f"t{at}") for at in range(20)], "S1", "3"
    )
    assert (often.ohm.values, often.units) == (1, 1)
    assert often.ohm.u == pytest.approx(once.ohm.u)
    assert often.ohm.accept == pytest.approx(once.ohm.accept)
