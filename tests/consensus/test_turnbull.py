"""Turnbull's estimate against the published example, and as plain self-consistency rounds give it."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.lifetimes import Lifetimes
from consensus.turnbull import _coarse, _innermost, turnbull_curve, turnbull_masses
from tests.consensus.check_values import published
from tests.simulation.fleets import make_fleet


@pytest.mark.parametrize("arm", ["rad", "radchem"])
def test_turnbull_of_the_cosmesis_data(arm: str) -> None:
    data, expected = published("turnbull_breast_cosmesis")  # (left, right]; printed by R package interval
    low, high = np.array(data[arm], dtype=float).T
    lifetimes = Lifetimes.from_km(low, high)
    left, right, mass = turnbull_masses(lifetimes)
    kept = mass > 1e-5
    assert np.stack([left, right], axis=1)[kept].tolist() == expected[f"{arm}_intervals"]
    assert mass[kept] == pytest.approx(expected[f"{arm}_p"], abs=5e-6)
    inside = (left >= low[:, None]) & (right <= np.where(np.isnan(high), np.inf, high)[:, None])
    assert np.log(inside @ mass).sum() == pytest.approx(expected[f"{arm}_loglik"], abs=1e-5)


def plain_rounds(lifetimes: Lifetimes, rounds: int) -> np.ndarray:
    """The same by Turnbull's own rounds, unit by unit and interval by interval."""
    left, right = _innermost(lifetimes)
    mass = np.full(len(left), 1 / len(left))
    for _ in range(rounds):
        new = np.zeros_like(mass)
        for low, high, entered in zip(lifetimes.low, lifetimes.high, lifetimes.entered, strict=True):
            if low == high:
                inside = (left == low) & (right == high)
            else:
                inside = np.where(left == right, left > low, left >= low) & (right <= high)
            new += inside * mass / mass[inside].sum()
            unseen = right <= entered
            new += unseen * mass / mass[~unseen].sum()
        mass = new / new.sum()
    return mass


def test_units_that_came_used_count_as_in_plain_rounds() -> None:
    lifetimes = make_fleet(2, 60).lifetimes
    assert (lifetimes.entered > 0).any()
    slow = plain_rounds(lifetimes, 3000)
    left, right, mass = turnbull_masses(lifetimes)
    kept = slow > 1e-5
    assert (
        np.stack(_innermost(lifetimes))[:, kept].tolist() == np.stack([left, right])[:, mass > 1e-5].tolist()
    )
    assert mass[mass > 1e-5] == pytest.approx(slow[kept], abs=2e-5)


def test_many_units_are_put_on_a_grid_that_hardly_moves_the_curve() -> None:
    lifetimes = make_fleet(5, 2000).lifetimes
    km, s, se = turnbull_curve(lifetimes, 8, 1)
    _left, right, mass = turnbull_masses(lifetimes)
    exact = [1 - mass[right <= at].sum() for at in km]
    assert len(km) < 260
    assert np.abs(s - exact).max() < 0.02  # a step of the grid, and masses whose place is not known
    assert np.all(se < 0.03)
    coarse = _coarse(lifetimes)
    assert (coarse.failures, coarse.exact.tolist()) == (lifetimes.failures, lifetimes.exact.tolist())
    assert np.all((coarse.entered <= coarse.low) & (coarse.low <= coarse.high))
