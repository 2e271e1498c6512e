"""Checks of suspects: cases worked out by hand, and calibration by simulation."""

from __future__ import annotations

import json

import numpy as np
import pytest

from consensus import ConsensusError, Settings, agree, check_sheet
from tests.consensus.charts import chart, joined, read_at, sheet
from tests.simulation.check_scores import score_checks
from tests.simulation.files import engine_input, sheets_readings
from tests.simulation.suspects import make_suspects
from tests.simulation.worlds import make_world

ROWS = ["x.x.", ".xx.", ".x.x", "xxx.", "..xx", "x..x"]
GOOD = chart(ROWS)


def changed(rows: list[str], *places: tuple[int, int, str]) -> list[str]:
    grid = [list(row) for row in rows]
    for row, line, mark in places:
        grid[row][line] = mark
    return ["".join(row) for row in grid]


def with_line(line: int, mark: str) -> list[str]:
    return [row[:line] + mark + row[line + 1 :] for row in ROWS]


def faults_of(check) -> list[str]:
    return [cause.cause for cause in check.causes if cause.params["of"] == "unit"]


def test_a_full_sheet_that_fits_is_good() -> None:
    check = check_sheet(sheet(GOOD, ROWS), GOOD)
    assert check.verdict == "good"
    assert check.p_good > 0.98
    assert check.unlike == ()
    assert (check.compared, check.agreeing) == (24, 24)


def test_a_line_that_never_closes_is_named() -> None:
    check = check_sheet(sheet(GOOD, with_line(2, ".")), GOOD)
    assert check.verdict == "faulty"
    assert (check.causes[0].cause, check.causes[0].pins) == ("line_open", ("4",))
    assert {(one.position, one.pin) for one in check.unlike} == {
        ("P", "4"),
        ("R", "4"),
        ("D", "4"),
        ("4", "4"),
    }


def test_a_line_stuck_to_the_common_is_named() -> None:
    check = check_sheet(sheet(GOOD, with_line(0, "x")), GOOD)
    assert (check.verdict, check.causes[0].cause, check.causes[0].pins) == ("faulty", "line_closed", ("2",))


def test_two_bridged_lines_are_named() -> None:
    both = [
        "".join("x" if "x" in (row[0], row[1]) and at < 2 else mark for at, mark in enumerate(row))
        for row in ROWS
    ]
    check = check_sheet(sheet(GOOD, both), GOOD)
    assert (check.verdict, check.causes[0].cause) == ("faulty", "bridged_lines")
    assert set(check.causes[0].pins) == {"2", "3"}


def test_a_resistance_in_the_common_is_named_with_its_figure() -> None:
    check = check_sheet(sheet(GOOD, [row.replace("x", "h") for row in ROWS], marks={"h": "458.6"}), GOOD)
    assert (check.verdict, check.causes[0].cause) == ("faulty", "resistive_common")
    assert check.causes[0].params["ohm"] == pytest.approx(458.2, abs=2)


def test_a_high_contact_in_one_place_is_worn_and_an_open_one_may_be_a_slip() -> None:
    high = check_sheet(sheet(GOOD, changed(ROWS, (1, 1, "h"))), GOOD)
    assert (high.verdict, high.causes[0].cause) == ("faulty", "worn_contact")
    assert (high.causes[0].pins, high.causes[0].positions) == (("3",), ("R",))
    lost = check_sheet(sheet(GOOD, changed(ROWS, (1, 1, "."))), GOOD)
    assert lost.verdict == "undecided"
    assert {"slip", "worn_contact"} <= {cause.cause for cause in lost.causes}
    # what would settle it is that reading, taken again
    assert (lost.next[0].position, lost.next[0].pin, lost.next[0].repeat) == ("R", "3", True)
    assert lost.next[0].bits > 0.05


def test_the_reading_taken_again_settles_it() -> None:
    first = sheet(GOOD, changed(ROWS, (1, 1, ".")))
    again = sheet(GOOD, ["____", "_x__", "____", "____", "____", "____"], sweep=2)
    still = sheet(GOOD, ["____", "_.__", "____", "____", "____", "____"], sweep=2)
    assert check_sheet(joined(first, again), GOOD).p_good > check_sheet(first, GOOD).p_good
    assert check_sheet(joined(first, still), GOOD).verdict == "faulty"


def test_lines_in_reverse_are_the_readers_mistake_not_the_units_fault() -> None:
    check = check_sheet(sheet(GOOD, [row[::-1] for row in ROWS]), GOOD)
    assert check.verdict == "good"
    assert (check.causes[0].cause, check.causes[0].params["of"]) == ("mirrored_pins", "sheet")
    assert check.causes[0].params["detail"] == "lines"


def test_a_fault_is_found_behind_a_mistake() -> None:
    check = check_sheet(sheet(GOOD, [row[::-1] for row in with_line(2, ".")]), GOOD)
    assert check.verdict == "faulty"
    assert {"mirrored_pins", "line_open"} <= {cause.cause for cause in check.causes[:2]}
    # the sheet's labels are mirrored, the fault is named by the unit's own pin
    assert next(cause for cause in check.causes if cause.cause == "line_open").pins == ("4",)


def test_a_lead_that_stayed_on_a_line_is_recognised() -> None:
    stayed = [
        "".join(row[0] if at == 0 else "x" if row[at] == row[0] == "x" else "." for at in range(4))
        for row in ROWS
    ]
    check = check_sheet(sheet(GOOD, stayed), GOOD)
    assert (check.verdict, check.causes[0].cause, check.causes[0].pins) == ("good", "wrong_common", ("2",))


def test_a_shift_that_may_be_sheet_or_detent_is_left_undecided() -> None:
    # the last position was not read: a sheet off by one and a detent off by one predict the same
    moved = [*ROWS[1:], "____"]
    check = check_sheet(sheet(GOOD, moved), GOOD)
    assert (check.verdict, check.reason) == ("undecided", "shift")
    shifts = [cause for cause in check.causes if cause.cause in ("shifted_positions", "detent_shift")]
    assert len(shifts) == 2
    assert shifts[0].group == shifts[1].group


def test_the_end_of_travel_tells_a_shifted_sheet_from_a_shifted_detent() -> None:
    twice = check_sheet(sheet(GOOD, [*ROWS[1:], ROWS[-1]]), GOOD)
    past = check_sheet(sheet(GOOD, [*ROWS[1:], "...."]), GOOD)
    assert (twice.verdict, twice.causes[0].cause) == ("good", "shifted_positions")
    assert (past.verdict, past.causes[0].cause) == ("faulty", "detent_shift")


def test_good_waits_for_the_readings_that_exclude_a_false_start_position() -> None:
    # pins 2, 3, 4: line 4 open makes R read as N; its contacts were not read
    rows = ["x.x", ".xx", ".x.", "xxx"]
    like = chart(rows)
    part = check_sheet(sheet(like, ["x._", ".x_", ".x.", "xx_"]), like, settings=Settings(verdict_good_p=0.5))
    assert (part.verdict, part.reason) == ("undecided", "start_position")
    assert {"cause": "line_open", "pins": ["4"], "position": "R", "passes_for": "N"} in part.not_excluded
    assert part.next[0].excludes > 0
    whole = check_sheet(sheet(like, rows), like, settings=Settings(verdict_good_p=0.5))
    assert whole.verdict == "good"
    # where no position releases the starter by its label, nothing of the kind is asked for
    plain = chart(rows, ("A", "B", "C", "E"))
    free = check_sheet(
        sheet(plain, ["x._", ".x_", ".x.", "xx_"]), plain, settings=Settings(verdict_good_p=0.5)
    )
    assert free.not_excluded == ()


def test_causes_that_no_reading_tells_apart_share_a_group() -> None:
    # line 2 was read in P alone, and open there: the line, or that one contact?
    part = [row if at == 0 else "_" + row[1:] for at, row in enumerate(ROWS)]
    check = check_sheet(sheet(GOOD, changed(part, (0, 0, "."))), GOOD)
    named = {("line_open", ()), ("worn_contact", ("P",))}
    same = [
        cause for cause in check.causes if cause.pins == ("2",) and (cause.cause, cause.positions) in named
    ]
    assert {"line_open", "worn_contact"} == {cause.cause for cause in same}
    assert len({cause.group for cause in same}) == 1


def test_nonsense_is_not_forced_into_a_name() -> None:
    rng = np.random.default_rng(12)
    noise = ["".join("x."[int(bit)] for bit in rng.integers(0, 2, 4)) for _ in ROWS]
    check = check_sheet(sheet(GOOD, noise), GOOD)
    assert check.verdict != "good"
    assert check.p_unknown > 0.5
    assert "unknown" in {cause.cause for cause in check.causes}


def test_a_unit_of_the_minority_variant_is_good() -> None:
    other = changed(ROWS, (0, 1, "x"), (2, 0, "x"), (4, 0, "x"))
    like = chart(ROWS, variants=[other])
    check = check_sheet(sheet(like, other), like)
    assert (check.verdict, check.variant, check.causes[0].cause) == ("good", "b", "other_variant")


def test_another_design_of_the_same_shape_is_named() -> None:
    rows = ["xx..", "..xx", "x..x", ".x.x", "xx.x", ".xx."]
    other = chart(rows, design="Y")
    check = check_sheet(sheet(GOOD, rows), GOOD, [GOOD, other])
    assert check.causes[0].cause == "other_design"
    assert check.causes[0].params["design"] == "Y"


def test_an_unread_place_of_the_chart_decides_nothing() -> None:
    hole = chart(changed(ROWS, (0, 0, "?")))
    closed, opened = (check_sheet(sheet(hole, changed(ROWS, (0, 0, mark))), hole) for mark in "x.")
    assert closed.verdict == opened.verdict == "good"


def test_through_the_harness_an_open_line_is_not_yet_the_units() -> None:
    dead = sheet(GOOD, with_line(2, "."))
    harness = check_sheet(read_at(dead, "harness"), GOOD)
    bench = check_sheet(dead, GOOD)
    open_harness = next(cause for cause in harness.causes if cause.cause == "harness_open")
    open_line = next(cause for cause in harness.causes if cause.cause == "line_open")
    assert open_harness.pins == open_line.pins == ("4",)
    assert open_harness.group == open_line.group
    assert harness.p_good > bench.p_good
    assert "harness_open" not in {cause.cause for cause in bench.causes}


def test_a_contact_that_comes_and_goes_between_sweeps_is_worn() -> None:
    once = joined(sheet(GOOD, ROWS), sheet(GOOD, changed(ROWS, (1, 1, ".")), sweep=2))
    both = joined(once, sheet(GOOD, changed(ROWS, (1, 1, ".")), sweep=3))
    check = check_sheet(both, GOOD)
    assert next(cause for cause in check.causes if cause.params["of"] == "unit").cause == "worn_contact"
    assert check.p_good < check_sheet(joined(sheet(GOOD, ROWS), sheet(GOOD, ROWS, sweep=2)), GOOD).p_good


def test_a_detent_that_slips_on_the_way_back_is_a_shifted_detent() -> None:
    out = sheet(GOOD, ROWS)
    back = sheet(GOOD, [*ROWS[1:], "...."], sweep=2)
    check = check_sheet(joined(out, back), GOOD)
    assert check.verdict == "faulty"
    assert (check.causes[0].cause, check.causes[0].params.get("sweeps")) == ("detent_shift", [2])


def test_a_reading_that_wanders_points_to_a_worn_contact() -> None:
    check = check_sheet(sheet(GOOD, changed(ROWS, (1, 1, "w")), marks={"w": "0.4…350"}), GOOD)
    assert (check.verdict, check.causes[0].cause) == ("faulty", "worn_contact")
    assert ("R", "3") in {(one.position, one.pin) for one in check.unlike}


def test_nothing_read_decides_nothing() -> None:
    like = chart(["x.", ".x"])
    check = check_sheet(sheet(like, ["x_", "__"], marks={}), chart(["x.", ".x"], ("A", "B")))
    assert check.verdict == "undecided"


def test_two_sheets_at_once_are_refused() -> None:
    world = make_world("few", 1, 1)
    with pytest.raises(ConsensusError, match="one sheet"):
        check_sheet(engine_input(world)[0], GOOD)


def test_plain_form_is_json_ready_and_has_the_contracts_fields() -> None:
    plain = check_sheet(sheet(GOOD, with_line(2, ".")), GOOD).to_plain()
    assert json.loads(json.dumps(plain)) == plain
    assert {"submission", "design", "variant", "verdict", "p_good", "causes", "next", "unlike"} <= set(plain)
    assert {"cause", "pins", "positions", "p", "group"} <= set(plain["causes"][0])


def test_the_same_sheet_gives_the_same_answer() -> None:
    given = sheet(GOOD, changed(ROWS, (1, 1, ".")))
    assert check_sheet(given, GOOD).to_plain() == check_sheet(given, GOOD).to_plain()


def test_checks_of_simulated_suspects_are_calibrated() -> None:
    """Seed 21, 16 designs × 12 suspects.  Bounds allow for three standard errors of 192 sheets; an ideal
    reader with the true tables and rates has a log loss of 0.19 on mixtures like this."""
    world = make_world("typical", 21, 16)
    _, charts = agree(engine_input(world), Settings())
    by_design = {one.design: one for one in charts}
    suspects = make_suspects(world, 21, 12)
    checks = [
        check_sheet(sheets_readings([one.sheet]), by_design[one.sheet.design.name]).to_plain()
        for one in suspects
    ]
    tally = score_checks(checks, suspects)
    assert tally.share("verdict log loss") < 0.30
    assert tally.share("expected calibration error") < 0.09
    assert tally.share("faulty called good") <= 0.04
    assert tally.share("good called faulty") <= 0.04
    assert tally.share("faulty called faulty") >= 0.75
    assert tally.share("likeliest fault right") >= 0.9
    assert tally.share("probability of the true fault") >= 0.85
