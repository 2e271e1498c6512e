"""Charts of what is not one plain figure a place: ranges, poor meters, sweeps, few lines, lines across."""

from __future__ import annotations

import pytest

from tests.consensus.benches import (
    PATTERN,
    cell_at,
    chart_of,
    finding_of,
    good_sheets,
    state_table,
    typed_sheet,
)


def test_a_wandering_reading_says_less_than_a_plain_one():
    sure = cell_at(chart_of(*good_sheets(1)), "S1", "3")
    wandering = cell_at(chart_of(typed_sheet(["o 0.4…5M c o", *PATTERN[1:]])), "S1", "3")
    assert sure.p_open < wandering.p_open < 0.5


@pytest.mark.parametrize(
    ("text", "state", "standings"),
    [
        ("0.4…35", "closed", {"agreed"}),  # it never nears the open range
        (
            "1k…OL",
            None,
            {"disputed", "provisional", "thin"},
        ),  # it never nears a contact, nor is it plainly open
        ("50k…5M", None, {"disputed", "provisional", "thin"}),
        ("0.4…5M", None, {"disputed", "provisional", "thin"}),
    ],
)
def test_what_a_range_says_of_its_place(text, state, standings):
    rows = [f"o {text} c o", *PATTERN[1:]]
    cell = cell_at(chart_of(*good_sheets(5, rows)), "S1", "3")
    assert cell.standing in standings
    assert cell.ohm is None
    if state:
        assert cell.state == state
        assert cell.p_open < 0.001


def test_a_range_across_states_gives_no_level_and_no_resistance():
    rows = ["o 0.4…5M c o", *PATTERN[1:]]
    chart = chart_of(*good_sheets(6), *good_sheets(2, rows))
    cell = cell_at(chart, "S1", "3")
    assert (cell.state, cell.levels) == ("closed", ())
    assert cell.ohm.typical == pytest.approx(0.4, abs=0.01)


def test_over_the_limit_of_a_poor_meter_is_not_open():
    rows = [row.replace("c", "12k") for row in PATTERN]
    good = chart_of(
        *good_sheets(4, rows), *good_sheets(2, [row.replace("12k", "o") for row in rows], limit=2000.0)
    )
    assert cell_at(good, "S1", "3").state == "resistive"
    assert finding_of(good, 5).finding == "fits"


def test_the_limit_of_a_poor_meter_as_a_figure_is_no_level():
    rows = [row.replace("o", "2k") for row in PATTERN]
    chart = chart_of(*good_sheets(4), *good_sheets(4, rows, limit=2000.0))
    assert state_table(chart) == list(PATTERN)
    assert {finding.finding for finding in chart.findings} == {"fits"}


def test_sweeps_of_one_sheet_are_one_reading():
    once, thrice = chart_of(*good_sheets(2)), chart_of(*good_sheets(2, sweeps=3))
    for before, after in zip(once.variants[0].cells, thrice.variants[0].cells, strict=True):
        assert after.units == before.units
        assert after.p_open == pytest.approx(before.p_open, rel=1e-9)


@pytest.mark.parametrize("sweep", [1, 2])
def test_a_slip_in_any_sweep_is_named_and_counts_by_most_of_them(sweep):
    slipped = typed_sheet(PATTERN, sweeps=3, again={sweep: ["o o c o", *PATTERN[1:]]})
    chart = chart_of(*good_sheets(6), slipped)
    finding = finding_of(chart, 6)
    assert finding.finding == "slip"
    assert [(cell.position, cell.pin) for cell in finding.cells] == [("S1", "3")]
    cell = cell_at(chart, "S1", "3")
    assert (cell.units, cell.agreeing) == (7, 7)


def test_a_resistance_is_the_mean_of_its_sweeps():
    again = {2: [row.replace("c", "0.8") for row in PATTERN]}
    chart = chart_of(*good_sheets(5, sweeps=2, again=again))
    assert cell_at(chart, "S1", "3").ohm.typical == pytest.approx(0.6, abs=0.01)


@pytest.mark.parametrize("lines", [1, 2])
@pytest.mark.parametrize("positions", [1, 2, 3])
def test_designs_of_one_or_two_lines_and_few_positions(lines, positions):
    rows = [" ".join(row.split()[1 : 1 + lines]) for row in PATTERN[:positions]]
    chart = chart_of(*good_sheets(6, rows), pins="123"[: lines + 1])
    assert state_table(chart) == rows
    assert {finding.finding for finding in chart.findings} == {"fits"}
    assert {cell.standing for cell in chart.variants[0].cells} == {"agreed"}


@pytest.mark.parametrize("common", [0, 2])
def test_two_lines_from_the_other_face_are_recognised_whatever_is_missing(common):
    rows = (
        ["c o", "c o", "o c", "c c", "c o", "o c"]
        if common == 0
        else ["o c", "o c", "c o", "c c", "o c", "c o"]
    )
    pairs = [(2 - pin, 2 - common) for pin in range(3) if pin != common]
    seen = [row.split() for row in rows]
    seen[2][common // 2] = "."  # so that more than half is between the face's common and the common
    mirrored = [typed_sheet([" ".join(words) for words in seen], pairs=pairs) for _ in range(2)]
    chart = chart_of(*good_sheets(6, rows), *mirrored, pins="123", common=common)
    assert len(chart.variants[0].cells) == 12
    assert state_table(chart) == rows
    assert {finding.finding for finding in chart.findings[6:]} == {"mirrored_pins"}


def test_lines_read_against_each_other_stay_places_of_their_own():
    rows = ["c o c", "o c o", "c c c"]  # the last: a contact of its own, no series of the two
    pairs = [(1, 0), (2, 0), (2, 1)]
    chart = chart_of(*good_sheets(6, rows, pairs=pairs), pins="123")
    direct = [cell.state for cell in chart.variants[0].cells if {cell.pin, cell.against} == {"2", "3"}]
    assert direct == ["closed", "open", "closed"]
