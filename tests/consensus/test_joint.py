"""Few units: beliefs against enumeration of every joint explanation."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from consensus import Reliability, Settings, agree_design
from consensus.contacts import deviation
from consensus.encoding import encode
from consensus.hypotheses import CONSTANTS
from consensus.inference import make_pairs
from consensus.joint import explain_jointly, told_by_others
from consensus.problem import make_problem
from consensus.propagation import propagate
from tests.consensus.benches import bench, turned, typed_sheet
from tests.simulation.files import engine_input, world_truth
from tests.simulation.rates import HARSHER, WORLDS
from tests.simulation.scores import score_agreed
from tests.simulation.worlds import make_world

SETTINGS = Settings(unit_deviation=1e-9)
ROWS = ("o c c", "o o c", "c o o")


def test_two_sheets_that_contradict_each_other_as_a_mirror_does():
    design = bench([typed_sheet(ROWS), typed_sheet(turned(ROWS))], pins="1234")
    encoded = encode(design, SETTINGS)
    problem = make_problem(encoded, Reliability.from_settings(SETTINGS), SETTINGS)
    state = propagate(problem)
    found = explain_jointly(problem, state)
    keep = [  # explanations that show one place each: as read, mirrored lines, shifts and exchanges
        mistake for mistake in range(problem.mistakes - 1)
        if not (problem.hypotheses.source[mistake][problem.cell] >= CONSTANTS + problem.places).any()
        and problem.hypotheses.mistakes[mistake].kind != "wrong_common"
    ]  # fmt: skip
    belief, whole = np.zeros((problem.places, 3)), 0.0
    for pair in product(keep, repeat=2):
        chosen = make_pairs(problem, np.array([0, 1]), np.array(pair))
        logs = np.zeros((problem.places, 3))
        np.add.at(logs, chosen.source - CONSTANTS, np.log(problem.like[chosen.row]))
        tables = np.exp(logs) * state.prior
        chance = np.exp(problem.log_mistake[0, pair[0]] + problem.log_mistake[1, pair[1]]) * np.prod(
            tables.sum(axis=1)
        )
        belief += chance * tables / tables.sum(axis=1, keepdims=True)
        whole += chance
    # the beam also holds faults and lines read in series, with about 1 % of the evidence here
    assert found.final[0] == pytest.approx(belief / whole, abs=0.05)
    mirrored = found.posterior[found.pairs.hypothesis == 1, 0]
    assert mirrored == pytest.approx([0.5, 0.5], abs=0.06)


@pytest.mark.parametrize(
    ("rates", "seed", "name"),
    [(WORLDS["few"], 22, "D0034"), (WORLDS["few"], 26, "D0004"), (HARSHER["few"], 21, "D0038")],
)
def test_two_units_of_which_one_has_a_mistake_and_a_fault_at_once(rates, seed, name):
    """Which of the two is as the pattern says is open, so that no wrong cell is held for certain: at most
    0.5 nats a cell, where a sure but wrong table costs 1 to 4."""
    world = make_world("few", seed, rates=rates)
    (design,) = (one for one in engine_input(world) if one.design == name)
    chart = agree_design(design, Reliability.from_settings(Settings()), Settings())
    truth = world_truth(world)
    mine = {sheet: entry for sheet, entry in truth["submissions"].items() if entry["design"] == name}
    plain = {"designs": [chart.to_plain()], "submissions": chart.findings_plain()}
    assert score_agreed(plain, {**truth, "submissions": mine}).share("cells log loss") < 0.5


def test_one_unit_read_by_five_people_is_one_voice():
    """What one unit says of the pattern is bounded by its own deviation (η = 0.003, of which 0.6 of a closed
    contact's is open, 0.7 of an open one's closed), however many people say it."""
    settings = Settings()
    rows = ("o c c", "c o o", "c c o", "o o c", "c o c", "o c o")
    sheets = [typed_sheet(rows, unit="one", contributor=f"c{at}") for at in range(5)]
    chart = agree_design(bench(sheets, pins="1234"), Reliability.from_settings(settings), settings)
    for cell in chart.variants[0].cells:
        doubt = cell.p_open if cell.state == "closed" else 1 - cell.p_open
        assert 0.001 < doubt < 0.004, cell


def test_two_sheets_of_one_unit_beside_another_unit_by_enumeration():
    """As read, mirrored lines, shifts and exchanges of three sheets, with a unit's deviation ten times the
    usual one: the unit that is read twice says what its contacts are, once."""
    settings = Settings(unit_deviation=0.03)
    other = ("o c c", "o o o", "c o o")
    rows = [typed_sheet(ROWS, unit="one"), typed_sheet(ROWS, unit="one"), typed_sheet(other)]
    encoded = encode(bench(rows, pins="1234"), settings)
    problem = make_problem(encoded, Reliability.from_settings(settings), settings)
    state = propagate(problem)
    found = explain_jointly(problem, state)
    keep = [
        mistake for mistake in range(problem.mistakes - 1)
        if not (problem.hypotheses.source[mistake][problem.cell] >= CONSTANTS + problem.places).any()
        and problem.hypotheses.mistakes[mistake].kind != "wrong_common"
    ]  # fmt: skip
    spread = deviation(problem.alphabet, settings.unit_deviation)
    belief, whole = np.zeros((problem.places, 3)), 0.0
    for pair in product(keep, repeat=3):
        chosen = make_pairs(problem, np.arange(3), np.array(pair))
        logs = np.zeros((2, problem.places, 3))
        unit = problem.unit[chosen.sheet][chosen.pair]
        np.add.at(logs, (unit, chosen.source - CONSTANTS), np.log(problem.like[chosen.row]))
        tables = (np.exp(logs) @ spread.T).prod(axis=0) * state.prior
        chance = np.exp(problem.log_mistake[range(3), pair].sum()) * np.prod(tables.sum(axis=1))
        belief += chance * tables / tables.sum(axis=1, keepdims=True)
        whole += chance
    assert found.final[0] == pytest.approx(belief / whole, abs=0.03)


def test_what_others_say_of_a_unit_holds_its_other_sheet_before_its_deviation():
    """Two sheets of one unit, nobody else: of each the other one says what the contacts are, and the pattern
    is what the state shares are."""
    settings = Settings()
    rows = ("o c c", "c o o", "c c o", "o o c", "c o c", "o c o")
    sheets = [typed_sheet(rows, unit="one", contributor=f"c{at}") for at in range(2)]
    encoded = encode(bench(sheets, pins="1234"), settings)
    problem = make_problem(encoded, Reliability.from_settings(settings), settings)
    state = explain_jointly(problem, propagate(problem))
    pairs, weight, sources = told_by_others(problem, state, state.joint)
    as_read = np.flatnonzero((pairs.hypothesis == 0) & (weight > 0.5))
    assert len(as_read) == 2
    mine = state.prior @ deviation(problem.alphabet, settings.unit_deviation)
    for at in as_read:
        like = np.ones((problem.places, 3))
        rows_of = np.flatnonzero(problem.sheet != pairs.sheet[at])
        like[problem.hypotheses.source[0][problem.cell[rows_of]] - CONSTANTS] = problem.like[rows_of]
        expected = mine * like
        assert sources[at, CONSTANTS:] == pytest.approx(
            expected / expected.sum(axis=1, keepdims=True), abs=1e-6
        )
