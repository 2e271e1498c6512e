"""Which switch is this: numberings shuffled, positions unnamed, dead units and charts that look alike."""

from __future__ import annotations

import json
from itertools import permutations

import numpy as np
import pytest
from scipy import stats

from consensus import ConsensusError, Settings, agree, identify_sheet
from consensus.assignment import log_mean_assignments
from consensus.numbering import SKIPPED, contact_columns, log_choices, skipped_shares
from tests.consensus.charts import chart, sheet
from tests.simulation.files import design_readings, engine_input, tidy_rows
from tests.simulation.suspects import make_suspects
from tests.simulation.worlds import make_world

ROWS = ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]
FIRST = chart(ROWS, design="F")
SECOND = chart(["xx..", "x..x", ".xxx", "..x.", "x.xx"], design="G")


@pytest.mark.parametrize("seed", range(5))
def test_mean_over_assignments_is_that_of_all_written_out(seed: int) -> None:
    weight = np.random.default_rng(seed).random((3, 5))
    ways = [
        np.prod([weight[row, column] for row, column in enumerate(way)]) for way in permutations(range(5), 3)
    ]
    assert np.exp(log_mean_assignments(np.log(weight)[None]))[0] == pytest.approx(np.mean(ways), rel=1e-12)


def test_more_columns_read_than_there_are_is_impossible() -> None:
    assert log_mean_assignments(np.zeros((1, 3, 2)))[0] == -np.inf


def test_the_right_design_comes_first_and_the_pins_are_told() -> None:
    # lines 2, 3, 4, 5 of the design stand in the sheet as 4, 2, 5, 3
    order = [1, 3, 0, 2]
    rows = ["".join(row[at] for at in order) for row in ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]]
    found = identify_sheet(sheet(FIRST, rows), [SECOND, FIRST])
    best = found.candidates[0]
    assert (best.design, best.variant) == ("F", "a")
    assert best.p > 0.95
    assert best.pins == {"1": "1", "2": "3", "3": "5", "4": "2", "5": "4"}


def test_as_read_holds_the_numbering() -> None:
    rows = ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]
    found = identify_sheet(sheet(FIRST, rows), [SECOND, FIRST], as_read=True)
    assert found.candidates[0].design == "F"
    assert found.candidates[0].pins == {pin: pin for pin in FIRST.pins}
    # what fits only after renumbering is no longer the same switch
    mirrored = identify_sheet(sheet(FIRST, [row[::-1] for row in rows]), [FIRST], as_read=True)
    free = identify_sheet(sheet(FIRST, [row[::-1] for row in rows]), [FIRST])
    assert free.p_none < 0.05 < mirrored.p_none


def test_charts_that_a_renumbering_makes_equal_share_the_probability() -> None:
    twin = chart([row[::-1] for row in ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]], design="T")
    found = identify_sheet(sheet(FIRST, ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]), [FIRST, twin])
    p = {one.design: one.p for one in found.candidates}
    assert p["F"] == pytest.approx(p["T"], rel=1e-6)


def test_a_dead_line_does_not_hide_the_design() -> None:
    rows = ["x...", ".x..", ".x.x", "xx..", "...x"]
    assert identify_sheet(sheet(FIRST, rows), [SECOND, FIRST]).candidates[0].design == "F"


def test_a_resistance_in_the_common_does_not_hide_the_design() -> None:
    rows = [row.replace("x", "h") for row in ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]]
    assert (
        identify_sheet(sheet(FIRST, rows, marks={"h": "320.5"}), [SECOND, FIRST]).candidates[0].design == "F"
    )


def test_fewer_positions_than_the_chart_are_fitted_in_order() -> None:
    short = chart([".xx.", ".x.x", "..xx"], ("i", "ii", "iii"))
    found = identify_sheet(sheet(short, [".xx.", ".x.x", "..xx"]), [SECOND, FIRST])
    assert found.candidates[0].design == "F"


def test_a_chart_of_more_positions_or_lines_than_were_read_pays_for_each() -> None:
    rows = ["x.x", ".xx", ".x.", "xxx"]
    exact = chart(rows, design="E")
    longer = chart([*rows[:2], "...", *rows[2:], "..x"], design="L")
    wider = chart([row + "x" for row in rows], design="W")
    found = identify_sheet(sheet(exact, rows), [longer, wider, exact])
    p = {one.design: one.p for one in found.candidates}
    assert found.candidates[0].design == "E"
    assert p["E"] > 3 * p["L"]
    assert p["E"] > 3 * p["W"]


def test_gaps_of_a_sheet_say_how_much_may_have_been_left_out() -> None:
    full = contact_columns(sheet(FIRST, ROWS), np.ones(20, bool))
    rows = np.repeat(np.arange(5), 4).astype(np.int32)
    assert skipped_shares(full, rows) == (SKIPPED, SKIPPED)
    given = sheet(FIRST, ["x_x_", "_xx_", ".x__", "_xx.", "..__"])
    part = contact_columns(given, np.ones(len(given.readings), bool))
    positions, lines = skipped_shares(part, given.readings.position)
    assert positions == pytest.approx(SKIPPED + (1 - SKIPPED) * 0.45**4)
    assert lines == pytest.approx(SKIPPED + (1 - SKIPPED) * 0.45**5)


def test_log_choices_is_the_binomial() -> None:
    for read in range(7):
        expected = stats.binom.logpmf(6 - read, 6, 0.05)
        assert log_choices(read, 6, 0.05) == pytest.approx(expected)
    assert log_choices(7, 6, 0.05) == -np.inf


def test_probabilities_and_none_of_these_sum_to_one() -> None:
    found = identify_sheet(sheet(FIRST, ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"]), [SECOND, FIRST])
    assert sum(one.p for one in found.candidates) + found.p_none == pytest.approx(1.0, abs=1e-3)
    plain = found.to_plain()
    assert json.loads(json.dumps(plain)) == plain
    assert set(plain["candidates"][0]) == {"design", "variant", "p", "pins"}


def test_no_chart_no_candidate_and_two_sheets_are_refused() -> None:
    given = sheet(FIRST, ["x.x.", ".xx.", ".x.x", "xxx.", "..xx"])
    assert identify_sheet(given, []).candidates == ()
    with pytest.raises(ConsensusError):
        identify_sheet(engine_input(make_world("few", 1, 1))[0], [FIRST])


def test_full_sheets_of_good_units_find_their_design_among_many() -> None:
    """Seed 31: 25 designs, 50 full sheets of good units, pins shuffled, positions renamed, careless hands and
    mistakes among them; one may fail (99 % expected)."""
    world = make_world("typical", 31, 25)
    _, charts = agree(engine_input(world), Settings())
    rng = np.random.default_rng(31)
    suspects = [one for one in make_suspects(world, 31, 8) if one.full and not one.sheet.switch.faults]
    right = 0
    for one in suspects:
        pins = list(one.sheet.design.pins)
        renamed = dict(zip(pins, rng.permutation(pins).tolist(), strict=True))
        rows = tidy_rows([one.sheet])
        for row in rows:
            row.update(pin=renamed[row["pin"]], against=renamed[row["against"]], position=f"x{row['step']}")
        found = identify_sheet(design_readings("?", rows), charts)
        right += found.candidates[0].design == one.sheet.design.name
    assert len(suspects) == 50
    assert right >= 49
