"""Algorithm A and its neighbours against published figures (sources in check_values.json)."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import robust
from tests.consensus.check_values import published


def test_algorithm_a_reaches_its_fixed_point() -> None:
    data, expected = published("algorithm_a_amc_tb6")  # AMC Technical Brief 6 (2001)
    answer = robust.algorithm_a(data["x"])
    assert float(answer.centre) == pytest.approx(expected["x_star"], abs=1e-8)
    assert float(answer.spread) == pytest.approx(expected["s_star"], abs=1e-8)


def test_algorithm_a_round_by_round_winsorises_the_original_values() -> None:
    data, expected = published("algorithm_a_amc_tb6")
    for rounds in range(4):
        answer = robust.algorithm_a(data["x"], rounds=rounds)
        assert float(answer.centre) == pytest.approx(expected["first_iterations_mu"][rounds], abs=6e-5)
        assert float(answer.spread) == pytest.approx(expected["first_iterations_s"][rounds], abs=6e-5)


def test_algorithm_a_with_the_exact_factor(monkeypatch: pytest.MonkeyPatch) -> None:
    data, expected = published("algorithm_a_amc_tb6")  # statsmodels 0.15.0 Huber(c=1.5)
    monkeypatch.setattr(robust, "WINSOR_TO_SD", expected["exact_factor"])
    answer = robust.algorithm_a(data["x"])
    assert float(answer.centre) == pytest.approx(expected["x_star_exact_factor"], abs=1e-7)
    assert float(answer.spread) == pytest.approx(expected["s_star_exact_factor"], abs=1e-7)


def test_creosote_fixed_point_and_the_standards_four_rounds() -> None:
    data, expected = published("algorithm_a_creosote")  # ISO 5725-5:1998 cell means
    answer = robust.algorithm_a(data["x"])
    assert [float(answer.centre), float(answer.spread)] == pytest.approx(
        [expected["x_star"], expected["s_star"]], abs=1e-8
    )
    assert float(answer.uncertainty) == pytest.approx(expected["u_assigned"], abs=1e-8)
    z = (np.array(data["x"]) - answer.centre) / answer.spread
    assert z == pytest.approx(expected["z"], abs=6e-4)
    fourth = robust.algorithm_a(data["x"], rounds=4)
    assert [float(fourth.centre), float(fourth.spread)] == pytest.approx(expected["iteration_4"], abs=6e-5)


def test_more_than_half_equal_has_no_spread() -> None:
    answer = robust.algorithm_a([0.4, 0.4, 0.4, 35.0])
    assert (float(answer.centre), float(answer.spread)) == (0.4, 0.0)


def test_rows_are_worked_alone_and_nan_is_not_taken() -> None:
    data, _ = published("algorithm_a_amc_tb6")
    row = [*data["x"], np.nan, np.nan]
    short = [1.0, 2.0, np.nan, 4.0, np.nan, np.nan, np.nan, np.nan, np.nan]
    together = robust.algorithm_a([row, short, [np.nan] * 9])
    # another row length may change the order of a sum, so the last digit is left free
    assert together.centre[0] == pytest.approx(robust.algorithm_a(data["x"]).centre, rel=1e-13)
    assert together.spread[1] == pytest.approx(robust.algorithm_a([1.0, 2.0, 4.0]).spread, rel=1e-13)
    assert np.isnan(together.centre[2])
    assert list(together.count) == [7, 3, 0]


def test_a_fifth_of_dirty_contacts_moves_the_centre_by_less_than_a_spread() -> None:
    # seed 2: 1000 rows of 20 with 4 values ten sd away on one side; the plain mean moves by 2 sd.
    # (At 30 % on one side the winsorised spread runs away and the centre follows: about 3 sd.)
    values = np.random.default_rng(2).normal(size=(1000, 20))
    values[:, :4] += 10.0
    assert robust.algorithm_a(values).centre.mean() < 1.0
    assert values.mean() > 1.9


def test_z_limits_at_their_edges() -> None:
    data, expected = published("iso13528_limits")  # ISO 13528:2015, 9.4: 2 is acceptable, 3 is action
    assert list(robust.z_limits(data["z"])) == expected["verdict"]


def _series(first: float, low: float, high: float) -> np.ndarray:
    return np.array([first] + [low, high] * 500)


@pytest.mark.parametrize(
    ("slug", "values", "tolerance"),
    [
        ("numacc1", np.array([10000001.0, 10000003.0, 10000002.0]), 1e-12),
        ("numacc2", _series(1.2, 1.1, 1.3), 1e-12),
        (
            "numacc3",
            _series(1000000.2, 1000000.1, 1000000.3),
            1e-9,
        ),  # inputs are not representable: 9.5 digits
        ("numacc4", _series(10000000.2, 10000000.1, 10000000.3), 1e-8),  # 8.3 digits
    ],
)
def test_nist_accuracy_sets(slug: str, values: np.ndarray, tolerance: float) -> None:
    _, expected = published("strd_univariate")
    mean, sd = robust.mean_and_sd(values)
    assert mean == pytest.approx(expected[slug][0], rel=1e-14)
    assert sd == pytest.approx(expected[slug][1], abs=tolerance)


def test_nist_lottery() -> None:
    data, expected = published("strd_univariate")
    assert robust.mean_and_sd(data["lottery"]) == pytest.approx(expected["lottery"][:2], rel=1e-12)


def test_nist_digits() -> None:
    # the data hold a 3 where pi has an 8, the 957th digit: with it the certified values come out
    _, expected = published("strd_univariate")
    digits = _digits_of_pi(5000)
    assert robust.mean_and_sd(digits) == pytest.approx(expected["pidigits_true_pi"][:2], rel=1e-12)
    digits[956] = 3
    assert robust.mean_and_sd(digits) == pytest.approx(expected["pidigits"][:2], rel=1e-12)


def _digits_of_pi(count: int) -> np.ndarray:
    """By Machin's formula in whole numbers, with ten digits to spare."""
    unit = 10 ** (count + 9)

    def arctan_of_one_over(x: int) -> int:
        power = total = unit // x
        for n in range(3, 4 * count, 2):
            power //= -x * x
            total += power // n
        return total

    pi = 4 * (4 * arctan_of_one_over(5) - arctan_of_one_over(239))
    half = 10 ** (count // 2)  # Python writes no whole number of more than 4300 digits
    text = f"{pi // half}{pi % half:0{count // 2}d}"
    return np.array([float(digit) for digit in text[:count]])
