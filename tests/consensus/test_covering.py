"""Smallest covers against brute force and against the integer programme written out."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from consensus import covering
from consensus.covering import needed_rows, smallest_cover


def brute_force(demands: np.ndarray) -> int:
    rows = demands[demands.any(axis=1)]
    for size in range(demands.shape[1] + 1):
        for chosen in combinations(range(demands.shape[1]), size):
            if rows[:, list(chosen)].any(axis=1).all():
                return size
    raise AssertionError("no cover")


@pytest.mark.parametrize("seed", range(12))
def test_smallest_cover_is_that_of_brute_force(seed: int) -> None:
    demands = np.random.default_rng(seed).random((14, 9)) < 0.25
    found = smallest_cover(demands)
    assert found.exact
    assert len(found.chosen) == found.bound == brute_force(demands)
    assert demands[demands.any(axis=1)][:, list(found.chosen)].any(axis=1).all()


@pytest.mark.parametrize("seed", range(4))
def test_reduced_rows_change_nothing(seed: int) -> None:
    # the whole programme, no row left out, solved by scipy as it stands
    demands = np.random.default_rng(100 + seed).random((120, 40)) < 0.12
    rows = demands[demands.any(axis=1)].astype(float)
    whole = milp(
        np.ones(40), constraints=LinearConstraint(rows, lb=1.0), integrality=np.ones(40), bounds=Bounds(0, 1)
    )
    assert len(smallest_cover(demands).chosen) == round(whole.fun)
    assert len(needed_rows(demands)) <= len(rows)


def test_beyond_the_exact_size_greedy_states_its_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    demands = np.random.default_rng(7).random((30, 12)) < 0.3
    exact = smallest_cover(demands)
    monkeypatch.setattr(covering, "EXACT_UP_TO", 4)
    greedy = smallest_cover(demands)
    assert greedy.bound <= len(exact.chosen) <= len(greedy.chosen)
    assert demands[demands.any(axis=1)][:, list(greedy.chosen)].any(axis=1).all()


def test_nothing_demanded_needs_nothing() -> None:
    assert smallest_cover(np.zeros((3, 4), dtype=bool)).chosen == ()
