"""Interval of the B10 life: where its ends lie, and how often it holds the truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from consensus.life_interval import _Profile, allowed_ratio, life_interval
from consensus.lifetimes import Lifetimes
from consensus.weibull import fit_weibull
from tests.consensus.test_weibull import handbook
from tests.simulation.fleets import make_fleet, volunteers

NAN = float("nan")
FLEETS = 600  # seeds 0 to 599


def test_the_interval_ends_lie_where_the_likelihood_ratio_is_the_quantile() -> None:
    # brute force: the best likelihood over shapes at each end, on a grid
    lifetimes = handbook()
    estimate, low, high = life_interval(lifetimes, 0.10)
    fit = fit_weibull(lifetimes)
    assert low < estimate < high
    assert estimate == pytest.approx(fit.life_km(0.10), rel=1e-6)
    failed = lifetimes.low[lifetimes.failed]
    for end in (low, high):
        shapes = np.linspace(0.3, 5.0, 20_001)
        scale = end / (-np.log(0.9)) ** (1 / shapes)
        total = sum(
            np.log(shapes / scale) + (shapes - 1) * np.log(t / scale) - (t / scale) ** shapes for t in failed
        )
        total = total - 10 * (500.0 / scale) ** shapes
        assert 2 * (fit.log_likelihood - total.max()) == pytest.approx(
            10 / 9 * stats.t.ppf(0.975, 8) ** 2, abs=1e-3
        )


def test_walking_and_solving_find_the_same_ends() -> None:
    for seed in range(20):
        lifetimes = make_fleet(seed).lifetimes
        profile = _Profile(lifetimes, fit_weibull(lifetimes), 0.10, allowed_ratio(lifetimes.failures, 0.95))
        for side in (-1, 1):
            assert profile._solved(side) == pytest.approx(profile._walked(side), abs=1e-4)


def test_an_end_that_the_data_do_not_bound_is_said() -> None:
    # two failures: a t quantile of one degree of freedom, so that hardly any law is out
    lifetimes = Lifetimes.from_km([10.0, 11.0] + [12.0] * 30, [10.0, 11.0] + [NAN] * 30)
    estimate, low, high = life_interval(lifetimes)
    assert (low, high) == (0.0, np.inf)
    assert 10 < estimate < 20


@pytest.mark.parametrize("seed", range(12))
def test_a_dozen_units_never_overflow(seed: int) -> None:
    # warnings are errors here: far from the best law, powers of distances leave the range of figures
    lifetimes = make_fleet(seed, 12).lifetimes
    if lifetimes.failures >= 3:
        estimate, low, high = life_interval(lifetimes)
        assert 0 <= low < estimate < high


@pytest.mark.slow
def test_intervals_cover_what_they_say_and_the_median_error_is_small() -> None:
    """The tracker's bars: 93 to 97 % covered, median error of B10 at most 7.5 %, over 600 fleets of 60 to 250
    units.  Over 4 000 fleets 94.8 % are covered (3.1 % missed below, 2.2 % above); one standard error of 600
    is 0.9 %.  Measured here: 6.5 %."""
    hits, errors = 0, []
    for seed in range(FLEETS):
        fleet = make_fleet(seed)
        estimate, low, high = life_interval(fleet.lifetimes)
        hits += low <= fleet.b10_km <= high
        errors.append(abs(estimate / fleet.b10_km - 1))
    assert 0.93 <= hits / FLEETS <= 0.97
    assert np.median(errors) <= 0.075


def test_volunteers_alone_make_lives_look_shorter() -> None:
    """Which is why the page says so: failed units are brought in, good ones stay where they work."""
    ratios = [
        life_interval(volunteers(fleet, seed).lifetimes)[0] / fleet.b10_km
        for seed, fleet in ((seed, make_fleet(seed)) for seed in range(60))
    ]
    assert np.median(ratios) < 0.85
