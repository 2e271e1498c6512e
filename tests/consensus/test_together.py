"""Designs propagated together get what each gets alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from consensus import Reliability, Settings, agree_design, agree_designs
from consensus.common_offset import with_offsets
from consensus.encoding import encode
from consensus.problem import make_problem
from consensus.propagation import propagate
from consensus.together import MOST_DESIGNS, alike_designs, propagate_all, run_together
from consensus.variants import find_tables, finding_tables
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


def test_tables_found_together_are_those_found_alone():
    # blocks, variants and levels; 1e-6: the last bits of sums grow over some twenty rounds
    designs = engine_input(make_world("storm", 31, 24))
    learned = replace(BEFORE, block_rate=0.9)
    problems = [
        make_problem(with_offsets(encode(one, SETTINGS), SETTINGS), learned, SETTINGS) for one in designs
    ]
    together = run_together([finding_tables(problem) for problem in problems])
    assert sum(tables.unit_table.shape[1] > 1 for tables in together) > 5  # else nothing is tested
    for problem, tables in zip(problems, together, strict=True):
        alone = find_tables(problem)
        assert tables.state.block == alone.state.block
        assert tables.state.rounds == alone.state.rounds
        assert tables.evidence == pytest.approx(alone.evidence, abs=1e-6)
        np.testing.assert_allclose(tables.unit_table, alone.unit_table, atol=1e-6)
        np.testing.assert_allclose(tables.state.share, alone.state.share, atol=1e-6)
        np.testing.assert_allclose(tables.state.differs, alone.state.differs, atol=1e-6)


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
