"""Tolerance factors against the worksheet of the NIST/SEMATECH e-Handbook 7.2.6.3 and by simulation."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import tolerance
from consensus.errors import ConsensusError
from tests.consensus.check_values import published


def test_factors_of_the_handbook_worksheet() -> None:
    data, expected = published("tolerance_nist_7263")
    case = (data["n"], data["coverage"], data["confidence"])
    assert tolerance.two_sided_factor_howe(*case) == pytest.approx(expected["k2_howe"], abs=1e-7)
    assert tolerance.two_sided_factor(*case) == pytest.approx(expected["k2_exact"], abs=1e-7)
    assert tolerance.one_sided_factor(*case) == pytest.approx(expected["k1_exact"], abs=1e-7)
    assert tolerance.one_sided_factor_approximate(*case) == pytest.approx(expected["k1_approx"], abs=1e-7)
    factor = tolerance.two_sided_factor_howe(*case)
    limits = [data["mean"] - factor * data["sd"], data["mean"] + factor * data["sd"]]
    assert limits == pytest.approx(expected["two_sided_limits"], abs=1e-7)


def test_factors_for_ten_units() -> None:
    _, expected = published("tolerance_nist_7263")
    assert tolerance.two_sided_factor(10) == pytest.approx(expected["k2_exact_n10_95_95"], abs=1e-7)
    assert tolerance.one_sided_factor(10) == pytest.approx(expected["k1_exact_n10_95_95"], abs=1e-7)


def test_units_that_a_distribution_free_interval_needs() -> None:
    _, expected = published("nonparametric_tolerance_n")  # Wilks (1941)
    assert tolerance.nonparametric_units(0.95, 0.95) == expected["two_sided_95_95"]
    assert tolerance.nonparametric_units(0.90, 0.95) == expected["two_sided_90_95"]
    assert tolerance.nonparametric_units(0.95, 0.95, two_sided=False) == expected["one_sided_95_95"]


def test_one_unit_has_no_spread() -> None:
    with pytest.raises(ConsensusError, match="at least two"):
        tolerance.one_sided_factor(1)


def test_one_sided_factor_keeps_its_confidence() -> None:
    # seed 1, 20 000 samples of 8: the standard error of the share is 0.0015, so ± 0.006 is four of them
    draws = np.random.default_rng(1).normal(size=(20_000, 8))
    limit = draws.mean(axis=1) + tolerance.one_sided_factor(8) * draws.std(axis=1, ddof=1)
    assert (limit >= 1.6448536).mean() == pytest.approx(0.95, abs=0.006)
