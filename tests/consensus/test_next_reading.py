"""Entropy and information gain against scipy and a published worked example."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from consensus.contacts import make_alphabet
from consensus.next_reading import entropy_bits, expected_gains, information_gain, outcome_table
from consensus.settings import Settings
from tests.consensus.check_values import published


def test_entropy_is_scipys() -> None:
    rng = np.random.default_rng(6)
    for _ in range(20):
        p = rng.dirichlet(np.ones(5))
        assert entropy_bits(p) == pytest.approx(stats.entropy(p, base=2), abs=1e-12)
    assert entropy_bits(np.array([1.0, 0.0])) == 0.0


def counted(rows: np.ndarray, at: int) -> np.ndarray:
    """How often each outcome of a column goes with each of the last."""
    _, outcome = np.unique(rows[:, at], return_inverse=True)
    _, play = np.unique(rows[:, 4], return_inverse=True)
    joint = np.zeros((outcome.max() + 1, 2))
    np.add.at(joint, (outcome, play), 1.0)
    return joint


@pytest.mark.parametrize("at", range(4))
def test_gains_of_the_worked_example(at: int) -> None:
    data, expected = published("play_tennis")  # Quinlan (1986); scikit-learn mutual information in bits
    joint, name = counted(np.array(data["rows"]), at), data["columns"][at]
    assert entropy_bits(joint.sum(axis=0) / 14) == pytest.approx(expected["entropy"], abs=1e-10)
    assert information_gain(joint) == pytest.approx(expected["gain"][name], abs=1e-10)


@pytest.mark.parametrize("at", [1, 2, 3])
def test_gains_below_the_first_answer_of_the_worked_example(at: int) -> None:
    data, expected = published("play_tennis")
    rows = np.array(data["rows"])
    joint, name = counted(rows[rows[:, 0] == "Sunny"], at), data["columns"][at]
    share = joint.sum(axis=0) / joint.sum()
    assert entropy_bits(share) == pytest.approx(expected["sunny_entropy"], abs=1e-10)
    assert information_gain(joint) == pytest.approx(expected["sunny_gain"][name], abs=1e-10)


def test_gain_of_a_reading_is_the_mean_fall_in_entropy() -> None:
    # brute force over outcomes: three explanations, two candidate readings
    alphabet = make_alphabet(np.array([]), Settings())
    outcomes = outcome_table(alphabet, miss=0.05, invent=0.02)
    symbols, p, classes = np.array([[0, 1], [1, 1], [1, 0]]), np.array([0.5, 0.3, 0.2]), np.array([0, 1, 1])
    gains = expected_gains(symbols, p, classes, outcomes)
    for candidate in range(2):
        before = stats.entropy([0.5, 0.5], base=2)
        after = 0.0
        for outcome in range(outcomes.shape[1]):
            weight = p * outcomes[symbols[:, candidate], outcome]
            if weight.sum() > 0:
                by_class = np.array([weight[classes == 0].sum(), weight[classes == 1].sum()])
                after += weight.sum() * stats.entropy(by_class / weight.sum(), base=2)
        assert gains[candidate] == pytest.approx(before - after, abs=1e-12)


def test_outcomes_of_a_symbol_sum_to_one() -> None:
    alphabet = make_alphabet(np.array([220.0, 1200.0]), Settings())
    assert outcome_table(alphabet, 0.03, 0.01).sum(axis=1) == pytest.approx(1.0)
