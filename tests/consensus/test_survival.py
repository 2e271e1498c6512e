"""Curves and comparisons against the published examples (sources in check_values.json)."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.errors import ConsensusError
from consensus.lifetimes import Lifetimes
from consensus.survival import kaplan_meier, log_rank, turnbull
from tests.consensus.check_values import published

NAN = float("nan")


def freireich(name: str) -> Lifetimes:
    data, _ = published("freireich_1963")
    time = np.array(data[f"{name}_time"], float)
    return Lifetimes.from_km(time, np.where(np.array(data[f"{name}_event"]) == 1, time, NAN))


def test_kaplan_meier_of_freireich() -> None:
    _, expected = published("freireich_1963")  # lifelines 0.30.3
    curve = kaplan_meier(freireich("mp"))
    assert curve.km.tolist() == expected["t"]
    assert curve.s == pytest.approx(expected["S"], abs=1e-6)
    assert curve.se == pytest.approx(expected["greenwood_se"], abs=1e-6)
    assert curve.at_risk.tolist() == expected["at_risk"]
    assert curve.median_km == expected["median_mp"]
    assert kaplan_meier(freireich("placebo")).median_km == expected["median_placebo"]
    assert np.all((curve.low < curve.s) & (curve.s < curve.high))


def test_log_rank_of_freireich() -> None:
    _, expected = published("freireich_1963")
    answer = log_rank(freireich("mp"), freireich("placebo"))
    assert answer.chi2 == pytest.approx(expected["logrank_chi2"], abs=1e-6)
    assert answer.p == pytest.approx(expected["logrank_p"], rel=1e-6)
    assert (answer.observed, answer.expected, answer.variance) == pytest.approx(
        (expected["O_mp"], expected["E_mp"], expected["V"]), abs=1e-6
    )


def test_turnbull_of_exact_lifetimes_is_kaplan_meier() -> None:
    rng = np.random.default_rng(13)
    time = rng.integers(1, 15, 40).astype(float)
    lifetimes = Lifetimes.from_km(time, np.where(rng.random(40) < 0.6, time, NAN))
    curve = kaplan_meier(lifetimes)
    assert turnbull(lifetimes, draws=3).s[: len(curve.s)] == pytest.approx(curve.s, abs=1e-5)


def test_units_that_came_used_are_not_at_risk_before() -> None:
    # by hand: at 5 two are at risk of three, at 8 two (the third was entered at 6)
    lifetimes = Lifetimes.from_km([5, 8, 9], [5, 8, NAN], [0, 0, 6])
    curve = kaplan_meier(lifetimes)
    assert curve.at_risk.tolist() == [2, 2]
    assert curve.s == pytest.approx([0.5, 0.25])


def test_bootstrap_band_is_deterministic_and_holds_the_curve() -> None:
    data, _ = published("turnbull_breast_cosmesis")
    low, high = np.array(data["radchem"], dtype=float).T
    first = turnbull(Lifetimes.from_km(low, high), draws=20)
    again = turnbull(Lifetimes.from_km(low, high), draws=20)
    assert np.array_equal(first.low, again.low)
    assert np.all((first.low <= first.s) & (first.s <= first.high))


def test_failures_between_readings_are_refused_where_a_date_is_needed() -> None:
    between = Lifetimes.from_km([5, 6], [7, NAN])
    for call in (lambda: kaplan_meier(between), lambda: log_rank(between, between)):
        with pytest.raises(ConsensusError):
            call()


@pytest.mark.parametrize(("good", "failed", "entered"), [(7, 5, 0), (3, NAN, 5), (0, 0, 0), (-1, 4, -2)])
def test_distances_that_fall_are_refused(good: float, failed: float, entered: float) -> None:
    with pytest.raises(ConsensusError, match="fall"):
        Lifetimes.from_km([good], [failed], [entered])
