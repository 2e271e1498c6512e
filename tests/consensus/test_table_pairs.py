"""Pairs under several tables at once are what they are under each."""

from __future__ import annotations

import numpy as np

from consensus import Reliability, Settings
from consensus.common_offset import with_offsets
from consensus.encoding import encode
from consensus.inference import predict, single_pairs, source_beliefs
from consensus.problem import make_problem
from consensus.table_pairs import fits, in_tables
from tests.simulation.files import engine_input
from tests.simulation.worlds import make_world

SETTINGS = Settings()
BEFORE = Reliability.from_settings(SETTINGS)


def test_fits_of_each_table_are_those_of_the_table_alone():
    designs = engine_input(make_world("typical", 34, 8))
    problems = [
        make_problem(with_offsets(encode(one, SETTINGS), SETTINGS), BEFORE, SETTINGS) for one in designs
    ]
    rng = np.random.default_rng(5)
    for problem in problems:
        size = problem.alphabet.size
        belief = rng.random((problem.units, 3, problem.places, size)) + 0.01
        belief /= belief.sum(axis=-1, keepdims=True)
        beliefs = source_beliefs(problem, belief, np.full(size, 1 / size))
        pairs = single_pairs(problem, np.ones(problem.sheets, dtype=bool))
        found = fits(problem, pairs, beliefs)
        for table in range(3):
            chance = predict(problem, np.ascontiguousarray(beliefs[:, table]), pairs)
            expected = np.bincount(pairs.pair, np.log(chance), len(pairs))
            assert (found[:, table] == expected).all()  # to the last bit


def test_pairs_of_one_table_are_the_pairs_themselves():
    (design,) = engine_input(make_world("few", 34, 1))
    problem = make_problem(with_offsets(encode(design, SETTINGS), SETTINGS), BEFORE, SETTINGS)
    pairs = single_pairs(problem, np.ones(problem.sheets, dtype=bool))
    assert in_tables(pairs, 1) is pairs
    twice = in_tables(pairs, 2)
    assert len(twice) == 2 * len(pairs)
    assert (twice.sheet[twice.pair] == np.tile(pairs.sheet[pairs.pair], 2)).all()
