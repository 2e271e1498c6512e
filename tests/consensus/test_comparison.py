"""Two classes compared: by the test that fits what is known of their failures."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.comparison import compare_classes, log_rank_interval
from consensus.lifetimes import Lifetimes
from consensus.survival import log_rank
from tests.consensus.check_values import published
from tests.consensus.test_life import exact
from tests.consensus.test_survival import freireich
from tests.simulation.fleets import make_fleet

NAN = float("nan")


def test_failures_between_readings_by_suns_scores() -> None:
    """Breast cosmesis data: R package interval 1.1, ictest() prints Z = -2.6684, p-value = 0.007622."""
    data, _ = published("turnbull_breast_cosmesis")
    rad, chem = (Lifetimes.from_km(*np.array(data[arm], dtype=float).T) for arm in ("rad", "radchem"))
    answer = log_rank_interval(rad, chem)
    assert np.sqrt(answer.chi2) == pytest.approx(2.6684, abs=5e-5)
    assert answer.p == pytest.approx(0.007622, abs=5e-7)
    assert not answer.first_fails_more
    assert compare_classes(rad, chem) == answer


def test_exact_failures_by_the_log_rank() -> None:
    _, expected = published("freireich_1963")
    answer = compare_classes(freireich("placebo"), freireich("mp"))
    assert answer is not None
    assert (answer.method, answer.freedom, answer.first_fails_more) == ("log_rank", 1, True)
    assert answer.chi2 == pytest.approx(expected["logrank_chi2"], abs=1e-6)
    assert set(answer.to_plain()) == {"method", "chi2", "freedom", "p", "first_fails_more"}


def test_interval_scores_of_exact_failures_come_near_the_log_rank() -> None:
    # same scores but for ties and the form of the variance
    first, second = exact(80, 60), exact(80, 60, seed=2)
    assert log_rank_interval(first, second).chi2 == pytest.approx(
        log_rank(first, second).chi2, rel=0.15, abs=0.05
    )


def test_units_that_came_used_are_compared_by_their_laws() -> None:
    one, other = make_fleet(1, 150).lifetimes, make_fleet(2, 150).lifetimes
    answer = compare_classes(one, other)
    assert answer is not None
    assert (answer.method, answer.freedom) == ("weibull_ratio", 2)
    same = compare_classes(one, one)
    assert same is not None
    assert same.chi2 == pytest.approx(0, abs=1e-6)


def test_comparisons_of_like_fleets_are_rarely_significant() -> None:
    """60 pairs from one law: at 5 % about 3 are expected; more than 8 has a chance below 1 %."""
    low = 0
    for seed in range(60):
        both = make_fleet(seed, 240).lifetimes
        odd = np.arange(240) % 2 == 1
        answer = compare_classes(both.take(odd), both.take(~odd))
        assert answer is not None
        low += answer.p < 0.05
    assert low <= 8


def test_classes_are_compared_only_with_enough_of_each() -> None:
    assert compare_classes(exact(9, 9), exact(50, 30)) is None
    assert compare_classes(exact(50, 30), exact(50, 2)) is None
