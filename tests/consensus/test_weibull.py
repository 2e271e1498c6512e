"""Weibull fits against the handbook's example and a reference library; intervals by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from consensus.errors import ConsensusError
from consensus.lifetimes import Lifetimes
from consensus.weibull import fit_weibull, life_interval
from tests.consensus.check_values import published

NAN = float("nan")


def handbook() -> Lifetimes:
    data, _ = published("weibull_nist")
    fail = np.array(data["fail"], float)
    good = np.concatenate([fail, np.full(data["censored_at_500"], 500.0)])
    return Lifetimes.from_km(good, np.concatenate([fail, np.full(data["censored_at_500"], NAN)]))


def test_the_handbooks_censored_example() -> None:
    _, expected = published("weibull_nist")  # e-Handbook 8.4.1.3; lifelines 0.30.3
    fit = fit_weibull(handbook())
    assert fit.shape == pytest.approx(expected["shape"], abs=1e-6)
    assert fit.scale_km == pytest.approx(expected["scale"], abs=1e-3)
    assert fit.log_likelihood == pytest.approx(expected["loglik"], abs=1e-6)
    assert fit.life_km(0.10) == pytest.approx(expected["b10"], abs=1e-3)
    assert (fit.mean_km, fit.sd_km) == pytest.approx((expected["mean"], expected["sd"]), abs=1e-2)


def fleet(seed: int, units: int, shape: float = 2.2, scale: float = 180_000.0) -> Lifetimes:
    """A simulated fleet: exact and interval failures, censoring, a quarter come used."""
    rng = np.random.default_rng([44, seed])
    life = scale * rng.weibull(shape, units * 3)
    entered = np.where(rng.random(units * 3) < 0.25, rng.uniform(0, 80_000, units * 3), 0.0)
    kept = np.flatnonzero(life > entered)[:units]
    life, entered = life[kept], entered[kept]
    end = np.maximum(rng.uniform(60_000, 220_000, units), entered + 1000)
    failed = life <= end
    step = 15_000.0
    before = np.maximum(np.floor(life / step) * step, entered)
    between = rng.random(units) < 0.6
    good = np.where(failed, np.where(between, before, life), end)
    seen = np.where(failed, np.where(between, np.maximum(np.ceil(life / step) * step, life), life), NAN)
    return Lifetimes.from_km(good, seen, entered)


def test_gradient_is_that_of_the_likelihood() -> None:
    from consensus.weibull import _Likelihood

    likelihood = _Likelihood(fleet(1, 200))
    for point in ((0.1, 0.3), (0.8, 1.2), (-0.3, -0.5)):
        _, gradient = likelihood.value(*point)
        for at in range(2):
            step = np.zeros(2)
            step[at] = 1e-6
            up, down = (likelihood.value(*(np.array(point) + sign * step))[0] for sign in (1, -1))
            assert gradient[at] == pytest.approx((up - down) / 2e-6, rel=1e-5, abs=1e-4)


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


def test_intervals_cover_what_they_say() -> None:
    """Seeds 0 to 149, 100 units each: 95 % ± 3 standard errors of 1.8 % is 89.6 to 100 %; the median error
    of B10 in the tracker is 7.5 %."""
    truth = 180_000.0 * (-np.log(0.9)) ** (1 / 2.2)
    hits, errors = 0, []
    for seed in range(150):
        estimate, low, high = life_interval(fleet(seed, 100))
        hits += low <= truth <= high
        errors.append(abs(estimate / truth - 1))
    assert 0.896 <= hits / 150 <= 0.995
    assert np.median(errors) <= 0.085


def test_the_reference_library_agrees_on_truncated_interval_data() -> None:
    lifelines = pytest.importorskip("lifelines")
    lifetimes = fleet(3, 150)
    fitter = lifelines.WeibullFitter()
    high = np.where(lifetimes.failed, lifetimes.high, np.inf)
    fitter.fit_interval_censoring(lifetimes.low, high, entry=lifetimes.entered)
    fit = fit_weibull(lifetimes)
    assert fit.shape == pytest.approx(fitter.rho_, rel=2e-3)
    assert fit.scale_km == pytest.approx(fitter.lambda_, rel=2e-3)


def test_the_next_stretch_of_a_unit_at_hand() -> None:
    fit = fit_weibull(handbook())
    expected = 1 - fit.survival(400) / fit.survival(300)
    assert fit.next_failure(300, 100) == pytest.approx(expected, rel=1e-12)


def test_failures_all_at_one_distance_give_no_law() -> None:
    with pytest.raises(ConsensusError, match="different distances"):
        fit_weibull(Lifetimes.from_km([5, 5, 9], [5, 5, NAN]))
