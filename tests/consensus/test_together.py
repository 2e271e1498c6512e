"""Designs propagated together get what each gets alone."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import Reliability, Settings, agree_design, agree_designs
from consensus.common_offset import with_offsets
from consensus.encoding import encode
from consensus.problem import make_problem
from consensus.propagation import propagate
from consensus.together import MOST_DESIGNS, alike_designs, propagate_all
from tests.simulation.files import engine_input
from tests.simulation.worlds import make_world

SETTINGS = Settings()
BEFORE = Reliability.from_settings(SETTINGS)


@pytest.mark.parametrize("kind", ["messy", "storm"])
def test_together_is_as_alone(kind):
    # equal but for the order of sums, which moves the last bits: 1e-9 is a million times that
    designs = engine_input(make_world(kind, 31, 16))
    problems = [
        make_problem(with_offsets(encode(one, SETTINGS), SETTINGS), BEFORE, SETTINGS) for one in designs
    ]
    joined = sum(problem.alphabet.size == 3 for problem in problems)
    assert joined > 8  # else nothing is tested
    for problem, state in zip(problems, propagate_all(problems), strict=True):
        alone = propagate(problem)
        assert state.rounds == alone.rounds
        assert (state.pairs.hypothesis == alone.pairs.hypothesis).all()
        np.testing.assert_allclose(state.posterior, alone.posterior, atol=1e-9)
        np.testing.assert_allclose(state.messages, alone.messages, atol=1e-9)
        np.testing.assert_allclose(state.prior, alone.prior, atol=1e-9)


def test_charts_of_many_designs_are_those_of_each():
    designs = engine_input(make_world("typical", 32, 6))
    together = [chart.to_plain() for chart in agree_designs(designs, BEFORE, SETTINGS)]
    assert together == [agree_design(one, BEFORE, SETTINGS).to_plain() for one in designs]


def test_groups_hold_every_design_once_and_none_is_too_large():
    designs = engine_input(make_world("few", 33, 60))
    groups = alike_designs(designs)
    assert sorted(at for group in groups for at in group) == list(range(60))
    assert max(map(len, groups)) <= MOST_DESIGNS
    assert all(len({(len(designs[at].pins), designs[at].common) for at in group}) == 1 for group in groups)
