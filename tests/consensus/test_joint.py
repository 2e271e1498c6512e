"""Few units: beliefs against enumeration of every joint explanation."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from consensus import Reliability, Settings, agree_design
from consensus.encoding import encode
from consensus.hypotheses import CONSTANTS
from consensus.inference import make_pairs
from consensus.joint import explain_jointly
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
