"""Beliefs of places in several tables, against brute force."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from consensus import Settings
from consensus.tables import differing_shares, log_tables, place_beliefs

PRIOR = np.array([0.5, 0.4, 0.1])


def brute_force(said: np.ndarray, differs: np.ndarray) -> tuple[np.ndarray, float]:
    """Beliefs (V, A) and evidence of one place by enumeration of all tables' symbols."""
    tables = said.shape[0]
    belief = np.zeros((tables, 3))
    for symbols in product(range(3), repeat=tables):
        chance = PRIOR[symbols[0]]
        for d, symbol in zip(differs, symbols[1:], strict=True):
            moved = d * PRIOR[symbol] / (1 - PRIOR[symbols[0]])
            chance *= 1 - d if symbol == symbols[0] else moved
        chance *= np.exp(sum(said[table, symbol] for table, symbol in enumerate(symbols)))
        for table, symbol in enumerate(symbols):
            belief[table, symbol] += chance
    return belief / belief[0].sum(), float(np.log(belief[0].sum()))


def test_the_star_is_summed_exactly():
    rng = np.random.default_rng(2)
    messages = rng.normal(size=(4, 3, 5, 3))
    differs = np.array([0.1, 0.3])
    found = place_beliefs(messages, PRIOR, differs, apart=False)[0]
    evidence = 0.0
    for place in range(5):
        belief, log = brute_force(messages[:, :, place].sum(axis=0), differs)
        assert found[:, place] == pytest.approx(belief, abs=1e-12)
        evidence += log
    assert log_tables(messages, PRIOR, differs) == pytest.approx(evidence, abs=1e-9)


def test_a_unit_is_judged_by_the_others_alone():
    messages = np.random.default_rng(3).normal(size=(3, 1, 2, 3))
    apart = place_beliefs(messages, PRIOR, np.zeros(0))
    without = place_beliefs(messages[1:], PRIOR, np.zeros(0), apart=False)
    assert apart[0] == pytest.approx(without[0], abs=1e-12)


def test_the_share_of_differing_places_is_learned():
    said = np.full((1, 2, 40, 3), -8.0)
    said[0, 0, :, 0] = 0.0
    said[0, 1, :30, 0] = said[0, 1, 30:, 1] = 0.0  # ten of forty differ
    share = differing_shares(said, PRIOR, np.array([0.15]), Settings())
    assert share[0] == pytest.approx((10 + 1.5) / 50, abs=0.01)
