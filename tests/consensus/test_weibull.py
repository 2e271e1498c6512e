"""Weibull fits against the handbook's example and a reference library."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.errors import ConsensusError
from consensus.lifetimes import Lifetimes
from consensus.survival import kaplan_meier
from consensus.weibull import WeibullLikelihood, fit_weibull
from tests.consensus.check_values import published
from tests.simulation.fleets import make_fleet

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
    assert 2 * 2 - 2 * fit.log_likelihood == pytest.approx(expected["aic"], abs=1e-6)  # two parameters
    curve = kaplan_meier(handbook())
    assert curve.s.tolist() == pytest.approx([1 - n / 20 for n in range(1, 11)])
    assert curve.s[-1] == pytest.approx(expected["km_after_last"])


def test_gradient_is_that_of_the_likelihood() -> None:
    likelihood = WeibullLikelihood(make_fleet(1, 200).lifetimes)
    for point in ((0.1, 0.3), (0.8, 1.2), (-0.3, -0.5)):
        _, gradient = likelihood.value(*point)
        for at in range(2):
            step = np.zeros(2)
            step[at] = 1e-6
            up, down = (likelihood.value(*(np.array(point) + sign * step))[0] for sign in (1, -1))
            assert gradient[at] == pytest.approx((up - down) / 2e-6, rel=1e-5, abs=1e-4)


def test_the_reference_library_agrees_on_truncated_interval_data() -> None:
    lifelines = pytest.importorskip("lifelines")
    lifetimes = make_fleet(3, 150).lifetimes
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
