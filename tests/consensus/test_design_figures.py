"""Agreement of a whole design, as charts state it: alpha by a reference library, its interval simulated."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.design_figures import agreement_figures


def told_of(labels: np.ndarray) -> np.ndarray:
    """(U, Q) states, -1 = not told, as (U, Q, 3)."""
    return labels[..., None] == np.arange(3)


def test_alpha_is_the_reference_librarys():
    krippendorff = pytest.importorskip("krippendorff")
    rng = np.random.default_rng(3)
    for _ in range(20):
        labels = rng.integers(0, 3, (6, 15))
        labels[rng.random(labels.shape) < 0.3] = -1
        values = np.where(labels < 0, np.nan, labels)
        expected = krippendorff.alpha(reliability_data=values, level_of_measurement="nominal")
        assert agreement_figures(told_of(labels))["alpha"] == pytest.approx(expected, abs=1e-4)


def test_the_edge_cases_are_defined():
    assert agreement_figures(told_of(np.zeros((4, 3), dtype=int)))["alpha"] == 1.0
    assert agreement_figures(told_of(np.array([[0, -1], [-1, 1]])))["alpha"] is None
    assert agreement_figures(told_of(np.full((2, 3), -1))) == {
        "alpha": None,
        "alpha_interval": None,
        "units": 0,
    }


def test_a_unit_drawn_twice_does_not_agree_with_itself():
    # who guesses has an alpha of 0; with copies as witnesses the interval lies wholly above it
    for seed in range(5):
        labels = np.random.default_rng(seed).integers(0, 2, (8, 40))
        found = agreement_figures(told_of(labels))
        low, high = found["alpha_interval"]
        assert low < 0.0 < high
        assert (low + high) / 2 == pytest.approx(found["alpha"], abs=0.05)


@pytest.mark.parametrize(
    ("units", "noise", "alike"),
    [(12, 0.05, False), (15, 0.03, False), (25, 0.15, False), (12, 0.03, True), (25, 0.05, True)],
)
def test_the_interval_covers_alpha(units, noise, alike):
    # units differ in how far they follow the pattern (or not: alike), so that they, not readings, are drawn.
    # Truth: alpha of 4000 units, five times.  Seed 9, 400 designs: 0.95 has a standard error of 1.1 points
    rng = np.random.default_rng(9)
    pattern = rng.integers(0, 2, 36)

    def design(many: int) -> np.ndarray:
        off = np.full((many, 1), noise) if alike else rng.beta(1.0, 1 / noise - 1, (many, 1))
        labels = np.where(rng.random((many, 36)) < off, 1 - pattern, pattern)
        return np.where(rng.random(labels.shape) < 0.2, -1, labels)

    truth = np.mean([agreement_figures(told_of(design(4000)))["alpha"] for _ in range(5)])
    covered = 0
    for _ in range(400):
        low, high = agreement_figures(told_of(design(units)))["alpha_interval"]
        covered += low <= truth <= high
    assert 0.93 <= covered / 400 <= 0.98
