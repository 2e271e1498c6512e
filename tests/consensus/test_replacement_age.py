"""Replacement ages against Barlow & Hunter's model, by numerical integration and known results."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate

from consensus import ConsensusError
from consensus.replacement_age import age_replacement
from tests.consensus.check_values import published


@pytest.mark.parametrize("at", range(4))
def test_published_optimum(at: int) -> None:
    data, expected = published("age_replacement")  # Barlow & Hunter (1960), computed
    case = data["cases"][at]
    answer = age_replacement(case["shape"], case["scale"], case["cp"], case["cf"])
    assert answer.km == pytest.approx(expected["T"][at], abs=1e-5)
    assert answer.cost_per_km == pytest.approx(expected["cost_rate"][at], abs=1e-11)
    assert answer.run_to_failure == pytest.approx(expected["run_to_failure"][at], abs=1e-11)


def test_no_other_distance_costs_less() -> None:
    shape, scale, planned, breakdown = 1.8, 150_000.0, 120.0, 900.0
    answer = age_replacement(shape, scale, planned, breakdown)

    def cost(t: float) -> float:
        kept = np.exp(-((t / scale) ** shape))
        used = integrate.quad(lambda x: np.exp(-((x / scale) ** shape)), 0, t)[0]
        return (planned * kept + breakdown * (1 - kept)) / used

    assert answer.km is not None
    assert cost(answer.km) == pytest.approx(answer.cost_per_km, rel=1e-9)
    for factor in (0.5, 0.9, 1.1, 2.0):
        assert cost(answer.km * factor) > answer.cost_per_km


@pytest.mark.parametrize(
    ("shape", "breakdown"), [(1.0, 5.0), (0.8, 5.0), (0.5, 50.0), (2.5, 1.0), (2.5, 0.5)]
)
def test_never_early_without_wear_or_without_a_dearer_breakdown(shape: float, breakdown: float) -> None:
    answer = age_replacement(shape, 1000.0, 1.0, breakdown)
    assert answer.km is None
    assert answer.cost_per_km == answer.run_to_failure


def test_costs_must_be_positive() -> None:
    with pytest.raises(ConsensusError, match="not above 0"):
        age_replacement(2.0, 1000.0, 0.0, 5.0)


def test_laws_at_the_edge_have_an_answer() -> None:
    # hardly any wear: by the best distance nothing would be left, so it is run to failure; much: soon
    assert age_replacement(1.002, 1000, 1, 1.5).km is None
    for shape in (1.05, 1.5, 8.0, 49.0):
        for breakdown in (1.01, 2.0, 1e6):
            found = age_replacement(shape, 1000, 1, breakdown)
            assert found.km is None or 0 < found.km <= 64_000
            assert found.cost_per_km <= found.run_to_failure * (1 + 1e-9)
