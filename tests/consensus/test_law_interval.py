"""Chances of failing soon and replacement ages: their intervals by simulation, and what is not bounded."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.law_interval import law_draws, next_failure, replacement_interval
from consensus.lifetimes import Lifetimes
from consensus.replacement_age import age_replacement
from consensus.weibull import WeibullFit, fit_weibull
from tests.consensus.test_weibull import handbook
from tests.simulation.fleets import make_fleet


def test_draws_spread_as_the_handbooks_errors() -> None:
    # lifelines 0.30.3, WeibullFitter on the handbook's data: se(coef) of rho_ 0.502151; its normal
    # approximation against a t of 8 degrees of freedom here, whose spread is sqrt(8/6) times as large
    fit = fit_weibull(handbook())
    laws = law_draws(handbook(), fit, draws=4000)
    spread = np.std(np.log([law.shape for law in laws])) / np.sqrt(8 / 6)
    assert spread * fit.shape == pytest.approx(0.502151, rel=0.08)


@pytest.mark.slow
def test_intervals_hold_the_truth() -> None:
    """Seeds 0 to 199: 95 % ± 3 standard errors of 1.5 % is 90.4 to 99.6 %."""
    chance, age = 0, 0
    for seed in range(200):
        fleet = make_fleet(seed)
        law = fit_weibull(fleet.lifetimes)
        truth = WeibullFit(fleet.shape, fleet.scale_km, 0.0)
        found = next_failure(fleet.lifetimes, law, 80_000, 20_000)
        chance += found.low <= truth.next_failure(80_000, 20_000) <= found.high
        best = age_replacement(fleet.shape, fleet.scale_km, 1, 8).km
        _answer, ages = replacement_interval(fleet.lifetimes, law, 1, 8)
        age += (ages.low or np.inf) <= best <= (ages.high or np.inf)
    assert 0.904 <= chance / 200 <= 0.996
    assert 0.904 <= age / 200 <= 0.996


def test_a_unit_that_does_not_wear_is_run_to_failure() -> None:
    km = 1e5 * np.random.default_rng(4).weibull(0.7, 80)
    lifetimes = Lifetimes.from_km(km, km)
    answer, ages = replacement_interval(lifetimes, fit_weibull(lifetimes), 1, 8)
    assert (answer.km, ages.estimate, ages.high) == (None, None, None)


def test_the_same_data_give_the_same_answer() -> None:
    lifetimes = make_fleet(7).lifetimes
    law = fit_weibull(lifetimes)
    assert next_failure(lifetimes, law, 1e5, 1e4) == next_failure(lifetimes, law, 1e5, 1e4)
