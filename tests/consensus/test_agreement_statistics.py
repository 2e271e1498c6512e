"""Chance-corrected agreement against published examples and a reference library."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.agreement_statistics import fleiss_kappa, krippendorff_alpha
from consensus.errors import ConsensusError
from tests.consensus.check_values import published


@pytest.mark.parametrize("slug", ["fleiss_1971_diagnoses", "fleiss_10x5_14_raters"])
def test_fleiss_published_examples(slug: str) -> None:
    data, expected = published(slug)  # Fleiss (1971); the reprinted 10 x 5 example
    assert fleiss_kappa(data["counts_subject_by_category"]) == pytest.approx(expected["kappa"], abs=1e-9)


def test_fleiss_is_one_where_everybody_names_one_category() -> None:
    assert fleiss_kappa([[6, 0, 0]] * 4) == 1.0  # 0/0 in the formula; reference libraries give nan


def test_fleiss_refuses_missing_readings() -> None:
    with pytest.raises(ConsensusError, match="krippendorff_alpha"):
        fleiss_kappa([[3, 0], [2, 0]])


@pytest.mark.parametrize("metric", ["nominal", "ordinal", "interval", "ratio"])
def test_krippendorff_2011(metric) -> None:
    data, expected = published("krippendorff_alpha_2011")
    values = np.array(data["observers_by_unit"], dtype=float)
    assert krippendorff_alpha(values, metric) == pytest.approx(expected[metric], abs=1e-9)


def test_krippendorff_matches_the_reference_library_on_random_data() -> None:
    krippendorff = pytest.importorskip("krippendorff")
    rng = np.random.default_rng(3)
    for _ in range(20):
        values = rng.integers(0, 3, (5, 12)).astype(float)
        values[rng.random(values.shape) < 0.3] = np.nan
        expected = krippendorff.alpha(reliability_data=values, level_of_measurement="nominal")
        assert krippendorff_alpha(values) == pytest.approx(expected, abs=1e-9)


def test_krippendorff_degenerate_cases_are_defined() -> None:
    assert krippendorff_alpha([[1, 1, 1], [1, 1, np.nan]]) == 1.0
    assert np.isnan(krippendorff_alpha([[1, np.nan], [np.nan, 0]]))
    assert np.isnan(krippendorff_alpha([[np.nan, np.nan]]))
