"""What a chart must hold, whatever is inside the engine."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from consensus import Reliability, agree, agree_design, learn_reliability
from consensus.results import DesignAgreement
from registry.formats.sentences import finding_message
from tests.consensus.benches import (
    BEFORE,
    PATTERN,
    SETTINGS,
    bench,
    cell_at,
    chart_of,
    finding_of,
    good_sheets,
    state_table,
    third_apart,
    turned,
    typed_sheet,
)
from tests.simulation.files import engine_input
from tests.simulation.worlds import make_world


def test_six_good_units_agree_on_every_cell():
    chart = chart_of(*good_sheets(6))
    assert state_table(chart) == list(PATTERN)
    assert {cell.standing for cell in chart.variants[0].cells} == {"agreed"}
    assert {finding.finding for finding in chart.findings} == {"fits"}


def test_four_matching_units_stay_provisional():
    # a typical private sample (common practice); Clopper & Pearson: 4 of 4 begins at 0.40
    chart = chart_of(*good_sheets(4))
    assert {cell.standing for cell in chart.variants[0].cells} == {"provisional"}
    assert round(chart.variants[0].cells[0].interval()[0], 2) == 0.40


def test_the_same_unit_read_twice_counts_once():
    twice = [typed_sheet(PATTERN, unit="one", contributor=f"c{at}") for at in range(5)]
    chart = chart_of(*twice)
    assert {cell.units for cell in chart.variants[0].cells} == {1}
    assert {cell.standing for cell in chart.variants[0].cells} == {"thin"}


def test_an_unread_cell_claims_nothing():
    rows = [". " + row[2:] for row in PATTERN]
    cell = cell_at(chart_of(*good_sheets(5, rows)), "S1", "2")
    assert (cell.state, cell.p_open, cell.standing, cell.units) == (None, 0.5, "unread", 0)


@pytest.mark.parametrize(
    "held", [{"held_good": "no"}, {"held_good": "passed_check"}, {"source_class": "equivalent"}]
)
def test_sheets_that_do_not_count_shift_nothing_yet_get_a_finding(held):
    other = [row.replace("o", "x").replace("c", "o").replace("x", "c") for row in PATTERN]
    with_them = chart_of(*good_sheets(6), *(typed_sheet(other, **held) for _ in range(8)))
    without = chart_of(*good_sheets(6))
    assert with_them.variants == without.variants
    assert len(with_them.findings) == 14
    assert {finding.finding for finding in with_them.findings[6:]}.isdisjoint({"fits"})
    assert with_them.findings[6].params["counts"] is False


def test_a_design_of_suspects_alone_has_an_unread_chart():
    chart = chart_of(*good_sheets(2, held_good="no"))
    assert {cell.standing for cell in chart.variants[0].cells} == {"unread"}
    assert len(chart.findings) == 2


def test_lines_in_reverse_are_recognised_and_count_repaired():
    chart = chart_of(*good_sheets(5), typed_sheet(turned(PATTERN)))
    finding = finding_of(chart, 5)
    assert (finding.finding, finding.params["detail"]) == ("mirrored_pins", "lines")
    assert finding.p > 0.95
    assert {cell.units for cell in chart.variants[0].cells} == {6}


def test_the_whole_connector_mirrored_is_recognised():
    pairs = [(4 - pin, 4) for pin in range(1, 5)]  # numbered from the other face: the common is called 5
    chart = chart_of(*good_sheets(5), typed_sheet(PATTERN, pairs=pairs))
    finding = finding_of(chart, 5)
    assert (finding.finding, finding.params["detail"]) == ("mirrored_pins", "face")
    assert {cell.units for cell in chart.variants[0].cells} == {6}
    assert all("1" in (cell.pin, cell.against) for cell in chart.variants[0].cells)


@pytest.mark.parametrize("end", [[PATTERN[-1]], [". . . ."]])
def test_positions_off_by_one_detent_are_recognised(end):
    chart = chart_of(*good_sheets(5), typed_sheet([*PATTERN[1:], *end]))
    assert finding_of(chart, 5).finding == "shifted_positions"


def test_a_lead_left_on_a_line_is_recognised():
    closed = [[word == "c" for word in row.split()] for row in PATTERN]
    stayed = [" ".join("c" if row[1] and (at == 1 or row[at]) else "o" for at in range(4)) for row in closed]
    finding = finding_of(chart_of(*good_sheets(6), typed_sheet(stayed)), 6)
    assert (finding.finding, finding.params["pins"]) == ("wrong_common", ["3"])


def test_neighbouring_pins_exchanged_are_recognised():
    rows = [" ".join(row.split()[at] for at in (0, 2, 1, 3)) for row in PATTERN]
    finding = finding_of(chart_of(*good_sheets(6), typed_sheet(rows)), 6)
    assert (finding.finding, finding.params["pins"]) == ("exchanged", ["3", "4"])


def test_an_open_line_is_a_faulty_unit_not_a_pattern():
    rows = ["o " + row[2:] for row in PATTERN]
    finding = finding_of(chart_of(*good_sheets(6), typed_sheet(rows)), 6)
    assert (finding.finding, finding.params["fault"], finding.params["fault_pins"]) == (
        "faulty_unit", "line_open", ["2"],
    )  # fmt: skip


@pytest.mark.parametrize(("rows", "detail"), [(PATTERN[1:], "out"), (PATTERN[:-1], "back")])
def test_detents_that_slipped_are_a_fault_and_say_which_way(rows, detail):
    """Two people see the same: each off by a detent by himself is less likely."""
    shifted = [*rows, "o o o o"] if detail == "out" else ["o o o o", *rows]
    sheets = [typed_sheet(shifted, unit="one") for _ in range(2)]
    finding = finding_of(chart_of(*good_sheets(6), *sheets), 6)
    assert (finding.finding, finding.params["fault"], finding.params["fault_detail"]) == (
        "faulty_unit", "detent_shift", detail,
    )  # fmt: skip
    way = {"out": "ahead of", "back": "behind"}[detail]
    assert f"one detent {way} the lever" in finding_message(finding.to_plain(), common="1")


def test_readings_that_agree_as_written_are_counted_beside_those_that_agree_repaired():
    chart = chart_of(*good_sheets(6), typed_sheet(turned(PATTERN)))
    assert all(
        (one.params["agreeing"], one.params["agreeing_as_read"]) == (24, 24) for one in chart.findings[:6]
    )
    same = sum(a == b for row, back in zip(PATTERN, turned(PATTERN), strict=True)
               for a, b in zip(row.split(), back.split(), strict=True))  # fmt: skip
    mirrored = finding_of(chart, 6).params
    assert (mirrored["agreeing"], mirrored["agreeing_as_read"]) == (24, same)


def test_of_an_unexplained_sheet_it_is_said_how_much_agrees_as_written():
    """Units that agree with each other alone have a table that is no chart: the pattern counts."""
    rows, moved = third_apart()
    chart = chart_of(*good_sheets(8, rows), *good_sheets(2, moved), pins="1234567")
    finding = finding_of(chart, 8)
    assert (finding.finding, finding.params["agreeing_as_read"]) == ("unexplained", 32)
    assert "as written 32 of 48 readings agree" in finding_message(finding.to_plain(), common="1")


def test_a_resistive_common_is_recognised_by_its_figure():
    rows = [row.replace("c", f"{412 + at}.3") for at, row in enumerate(PATTERN)]
    finding = finding_of(chart_of(*good_sheets(6), typed_sheet(rows)), 6)
    assert (finding.finding, finding.params["fault"]) == ("faulty_unit", "resistive_common")
    assert finding.params["ohm"] == pytest.approx(414, abs=6)


def test_one_wrong_reading_is_a_slip_at_its_cell():
    rows = ["c" + PATTERN[0][1:], *PATTERN[1:]]
    finding = finding_of(chart_of(*good_sheets(6), typed_sheet(rows)), 6)
    assert finding.finding == "slip"
    assert [(cell.position, cell.pin, cell.against) for cell in finding.cells] == [("S1", "2", "1")]
    assert (finding.params["readings"], finding.params["agreeing"]) == (24, 23)


def test_bare_continuity_is_closed_without_a_resistance():
    chart = chart_of(*good_sheets(5, [row.replace("c", "cont") for row in PATTERN]))
    assert state_table(chart) == list(PATTERN)
    assert {cell.ohm for cell in chart.variants[0].cells} == {None}


def test_the_leads_are_subtracted_by_the_model():
    chart = chart_of(*good_sheets(5, [row.replace("c", "20.3") for row in PATTERN], lead=19.9))
    assert state_table(chart) == list(PATTERN)
    assert cell_at(chart, "S1", "3").ohm.typical == pytest.approx(0.4, abs=0.05)


def test_pairs_without_a_common():
    pairs = [(0, 1), (2, 3)]
    sheets = [typed_sheet(["c o", "o c", "c c"], pairs=pairs) for _ in range(5)]
    chart = agree_design(bench(sheets, pins="1234", common=None), BEFORE, SETTINGS)
    assert chart.common is None
    assert [cell.state for cell in chart.variants[0].cells] == [
        "closed",
        "open",
        "open",
        "closed",
        "closed",
        "closed",
    ]


def test_a_line_to_line_contact_is_a_place_of_its_own():
    pairs = [(1, 0), (2, 0), (3, 4)]
    sheets = [typed_sheet(["c o c", "o c o", "c c c"], pairs=pairs) for _ in range(5)]
    chart = agree_design(bench(sheets), BEFORE, SETTINGS)
    direct = [cell.state for cell in chart.variants[0].cells if {cell.pin, cell.against} == {"4", "5"}]
    assert direct == ["closed", "open", "closed"]


def test_an_open_dispute_marks_the_cell():
    chart = chart_of(*good_sheets(6), disputed=frozenset({(0, False, 0, 1)}))
    assert cell_at(chart, "S1", "2").standing == "disputed"
    assert cell_at(chart, "S2", "2").standing == "agreed"


def test_one_sheet_more_equals_the_batch_under_the_same_snapshot():
    designs = engine_input(make_world("messy", 5, 3))
    snapshot = learn_reliability(designs, SETTINGS)
    alone = [agree_design(design, snapshot, SETTINGS) for design in designs]
    assert alone == [agree_design(design, snapshot, SETTINGS) for design in reversed(designs)][::-1]


def test_agree_gives_the_same_through_a_mapper_and_after_a_round_trip():
    designs = engine_input(make_world("typical", 6, 3))
    reliability, charts = agree(designs, SETTINGS)
    again, mapped = agree(
        pickle.loads(pickle.dumps(designs)), SETTINGS, mapper=lambda work, items: list(map(work, items))
    )
    assert (again, mapped) == (reliability, charts)
    plain = charts[0].to_plain()
    back = DesignAgreement.from_plain(plain, charts[0].findings_plain())
    assert back.to_plain() == plain
    assert back.findings_plain() == charts[0].findings_plain()
    assert Reliability.from_plain(reliability.to_plain()) == reliability


def test_many_sheets_of_one_reading_need_no_dense_arrays():
    rng = np.random.default_rng(3)  # noisy readers: a fifth of each kind wrong
    truth = rng.random(400) < 0.5
    sheets = []
    for at in range(4000):
        row = at % 400
        shows = truth[row] if rng.random() < 0.8 else not truth[row]
        words = ["."] * 400
        words[row] = "c" if shows else "o"
        sheets.append(typed_sheet(words, contributor=f"c{at % 37}", name=f"n{at}", unit=f"n{at}"))
    design = bench(sheets, pins="12")
    _, (chart,) = agree([design], SETTINGS)
    states = np.array([cell.state == "closed" for cell in chart.variants[0].cells])
    assert (states == truth).mean() > 0.95
    assert {finding.finding for finding in chart.findings} <= {"fits", "slip"}
