"""Outlier tests against the handbook, the standard and Rosner's paper (sources in check_values.json)."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import outliers
from consensus.errors import ConsensusError
from tests.consensus.check_values import published


def test_grubbs_uranium() -> None:
    data, expected = published("grubbs_uranium")  # NIST/SEMATECH e-Handbook 1.3.5.17.1
    n = len(data["x"])
    statistic = outliers.grubbs_statistic(data["x"])
    assert statistic == pytest.approx(expected["G"], abs=1e-8)
    assert outliers.grubbs_critical(n, two_sided=False) == pytest.approx(expected["crit_one_sided"], abs=1e-8)
    assert outliers.grubbs_critical(n) == pytest.approx(expected["crit_two_sided"], abs=1e-8)
    assert outliers.grubbs_p_value(statistic, n) == pytest.approx(expected["p_one_sided"], rel=1e-6)
    assert outliers.grubbs_p_value(expected["G_max_possible"] + 1e-9, n) == 0.0


def test_grubbs_table() -> None:
    data, expected = published("grubbs_critical")  # Grubbs (1969)
    for at, n in enumerate(data["n"]):
        row = [
            outliers.grubbs_critical(n, 0.05, two_sided=False),
            outliers.grubbs_critical(n),
            outliers.grubbs_critical(n, 0.01),
        ]
        assert row == pytest.approx([expected[key][at] for key in ("one_5", "two_5", "two_1")], abs=6e-5)


def test_rosner_finds_three_though_the_first_two_fail() -> None:
    data, expected = published("gesd_rosner")  # Rosner (1983)
    found = outliers.generalised_esd(data["x"], data["r"], data["alpha"])
    assert found.statistics == pytest.approx(expected["R"], abs=1e-5)
    assert found.critical == pytest.approx(expected["lam"], abs=1e-5)
    assert [data["x"][at] for at in found.outliers] == expected["outliers"]


def test_tietjen_moore() -> None:
    data, expected = published("tietjen_moore")
    assert outliers.tietjen_moore(data["x"], data["k"]) == pytest.approx(expected["E_k"], abs=1e-9)


@pytest.fixture
def creosote() -> tuple[np.ndarray, dict]:
    data, expected = published("iso5725_creosote")  # ISO 5725-2:1994, Annex B.3; printed to 3 or 4 digits
    return np.array(data["lab_level_replicate"]), expected


def test_mandel_statistics_of_unequal_numbers_are_the_standards_where_they_are_equal(creosote) -> None:
    values, _ = creosote
    means, sds = values[:, 4].mean(axis=1), values[:, 4].std(axis=1, ddof=1)
    assert outliers.mandel_h(means, np.full(9, 0.3)) == pytest.approx(outliers.mandel_h(means))
    assert outliers.mandel_k(sds, np.full(9, 1.0)) == pytest.approx(outliers.mandel_k(sds))
    assert outliers.mandel_k_limit(1, 8, 0.05) == pytest.approx(outliers.mandel_k_critical(9, 2, 0.05))
    assert outliers.mandel_k_limit(2, 14) == pytest.approx(outliers.mandel_k_critical(8, 3))


def test_a_k_limit_of_unequal_numbers_is_exceeded_as_often_as_it_says() -> None:
    # seed 3, 40 000 draws: 1 % has a standard error of 0.05 points
    rng = np.random.default_rng(3)
    freedom = np.array([3.0, 12.0, 60.0, 7.0])
    variances = rng.chisquare(freedom, (40_000, 4)) / freedom
    k = np.sqrt(variances / ((variances * freedom).sum(axis=1) / freedom.sum())[:, None])
    limits = [outliers.mandel_k_limit(own, freedom.sum() - own) for own in freedom]
    assert (k > limits).mean(axis=0) == pytest.approx(np.full(4, 0.01), abs=0.002)


def test_a_weighted_h_is_the_internally_studentised_residual() -> None:
    # by a reference library: weighted regression on a constant, scaled by sqrt((p - 1) / p)
    statsmodels = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(6)
    means, weights = rng.normal(size=7), rng.uniform(0.2, 9.0, 7)
    fit = statsmodels.OLS(means * np.sqrt(weights), np.sqrt(weights)).fit()
    expected = fit.get_influence().resid_studentized_internal * np.sqrt(6 / 7)
    assert outliers.mandel_h(means, weights) == pytest.approx(expected, rel=1e-9)


def test_outliers_are_those_of_a_reference_library_on_random_data() -> None:
    posthocs = pytest.importorskip("scikit_posthocs")
    rng = np.random.default_rng(12)
    for _ in range(20):
        x = rng.normal(size=25)
        x[:3] += rng.uniform(0, 9, 3)
        left = posthocs.outliers_gesd(x, outliers=5)
        found = outliers.generalised_esd(x, 5).outliers
        assert sorted(np.delete(x, list(found))) == pytest.approx(sorted(left))
        single = posthocs.outliers_grubbs(x)
        is_one = outliers.grubbs_statistic(x) > outliers.grubbs_critical(25)
        assert len(single) == 25 - is_one


def test_mandel_statistics(creosote) -> None:
    values, expected = creosote
    assert outliers.mandel_h(values[:, 4].mean(axis=1)) == pytest.approx(expected["level5_h"], abs=6e-4)
    assert outliers.mandel_k(values[:, 4].std(axis=1, ddof=1)) == pytest.approx(
        expected["level5_k"], abs=6e-4
    )
    assert outliers.mandel_k(values[:, 3].std(axis=1, ddof=1))[6] == pytest.approx(
        expected["level4_k_lab7"], abs=6e-4
    )


def test_cochran_and_grubbs_by_level(creosote) -> None:
    values, expected = creosote
    cochran = [outliers.cochran_c(values[:, level].std(axis=1, ddof=1)) for level in range(5)]
    assert cochran == pytest.approx(expected["cochran_C"], abs=6e-4)
    grubbs = [outliers.grubbs_statistic(values[:, level].mean(axis=1)) for level in range(5)]
    assert grubbs == pytest.approx(expected["grubbs_single_high"], abs=6e-4)


def test_precision_without_the_outlying_laboratories(creosote) -> None:
    values, expected = creosote
    for level in range(5):
        kept = [row for lab, row in enumerate(values[:, level]) if lab != 0 and (lab, level) != (5, 4)]
        answer = outliers.precision(kept)
        assert answer == pytest.approx(
            (expected["m_excl"][level], expected["sr_excl"][level], expected["sR_excl"][level]), abs=6e-4
        )


def test_critical_values_of_the_standard() -> None:
    _, expected = published("iso5725_creosote")
    h, k, c = expected["h_crit"], expected["k_crit"], expected["cochran_crit_p9_n2"]
    assert outliers.mandel_h_critical(8, 0.01) == pytest.approx(h["p8_1"], abs=6e-5)
    assert outliers.mandel_h_critical(9, 0.05) == pytest.approx(h["p9_5"], abs=6e-5)
    assert outliers.mandel_h_critical(9, 0.01) == pytest.approx(h["p9_1"], abs=6e-5)
    assert outliers.mandel_h_critical(8, 0.005) == pytest.approx(h["p8_05"], abs=6e-5)
    assert outliers.mandel_k_critical(9, 2, 0.05) == pytest.approx(k["p9_n2_5"], abs=6e-5)
    assert outliers.mandel_k_critical(9, 2, 0.01) == pytest.approx(k["p9_n2_1"], abs=6e-5)
    assert outliers.mandel_k_critical(8, 3, 0.01) == pytest.approx(k["p8_n3_1"], abs=6e-5)
    assert outliers.cochran_critical(9, 2, 0.05) == pytest.approx(c["five"], abs=6e-5)
    assert outliers.cochran_critical(9, 2, 0.01) == pytest.approx(c["one"], abs=6e-5)


def test_equal_values_hide_no_outlier() -> None:
    assert outliers.grubbs_statistic([1.0, 1.0, 1.0]) == 0.0
    assert outliers.generalised_esd([1.0] * 6, most=2).outliers == ()
    assert list(outliers.mandel_k([0.0, 0.0])) == [0.0, 0.0]
    assert outliers.cochran_c([0.0, 0.0]) == 0.0


def test_too_few_values_are_refused() -> None:
    with pytest.raises(ConsensusError, match="at least 3"):
        outliers.grubbs_statistic([1.0, 2.0])
