"""Intervals of a share against published tables (the source of each stands in check_values.json)."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import intervals
from consensus.errors import ConsensusError
from tests.consensus.check_values import published


@pytest.mark.parametrize(
    ("slug_column", "method"),
    [
        ("wilson", intervals.wilson),
        ("wilson_cc", lambda x, n: intervals.wilson(x, n, corrected=True)),
        ("clopper_pearson", intervals.clopper_pearson),
    ],
)
def test_newcombe_table_one_is_met(slug_column: str, method) -> None:
    data, expected = published("newcombe_1998")  # Newcombe (1998), Table I, four printed digits
    hits, trials = np.array(data["cases"]).T
    assert np.stack(method(hits, trials), axis=1) == pytest.approx(np.array(expected[slug_column]), abs=6e-5)


def test_four_of_four_begins_at_two_fifths() -> None:
    _, expected = published("clopper_pearson_4_of_4")  # closed form .025 ** (1/4)
    low, high = intervals.clopper_pearson(4, 4)
    assert low == pytest.approx(expected["two_sided_95_lower"], abs=1e-10)
    assert high == 1.0
    assert intervals.clopper_pearson(4, 4, level=0.9).low == pytest.approx(
        expected["one_sided_95_lower"], abs=1e-10
    )


def test_rule_of_three_goes_with_the_one_sided_bound() -> None:
    data, expected = published("rule_of_three")  # Hanley & Lippman-Hand (1983)
    n = np.array(data["n"])
    assert intervals.one_sided_upper(0, n) == pytest.approx(expected["exact_one_sided_95_upper"], abs=1e-9)
    assert intervals.clopper_pearson(0, n).high == pytest.approx(expected["two_sided_95_cp_upper"], abs=1e-9)
    for share, runs in expected["success_run_n_95pct"].items():
        assert intervals.trials_without_failure(float(share)) == runs


def test_jeffreys_has_its_explicit_ends() -> None:
    data, expected = published("jeffreys_boundary")  # Brown, Cai & DasGupta (2001)
    hits, trials = np.array(data["cases"]).T
    assert np.stack(intervals.jeffreys(hits, trials), axis=1) == pytest.approx(
        np.array(expected["interval"]), abs=2e-6
    )


def test_design_effect_shrinks_both_counts() -> None:
    data, expected = published("clopper_pearson_deff")  # Korn & Graubard (1998), no df factor
    hits, trials, effect = np.array(data["cases"]).T
    assert np.stack(intervals.korn_graubard(hits, trials, effect), axis=1) == pytest.approx(
        np.array(expected["interval"]), abs=1e-8
    )


def test_kish_effective_size() -> None:
    data, expected = published("kish_neff")  # Kish (1965)
    sizes = [float(intervals.effective_size(weights)) for weights in data["weights"]]
    assert sizes == pytest.approx(expected["neff"], abs=1e-9)
    assert len(data["weights"][0]) / sizes[0] == pytest.approx(expected["deff_first"], abs=1e-9)
    cluster = data["cluster"]
    effect = intervals.cluster_design_effect(cluster["m"], cluster["rho"])
    assert effect == pytest.approx(expected["cluster_deff"], abs=1e-12)
    assert cluster["n"] / effect == pytest.approx(expected["cluster_neff"], abs=1e-8)


def test_no_units_say_nothing() -> None:
    assert tuple(intervals.clopper_pearson(0, 0)) == (0.0, 1.0)
    assert intervals.effective_size([0.0, 0.0]) == 0.0


@pytest.mark.parametrize(("hits", "trials"), [(5, 4), (-1, 4), (0, -1)])
def test_impossible_counts_are_refused(hits: int, trials: int) -> None:
    with pytest.raises(ConsensusError):
        intervals.clopper_pearson(hits, trials)


def test_clopper_pearson_covers_at_least_its_level() -> None:
    # exact: the coverage is summed over all outcomes, no simulation
    from scipy.stats import binom

    n = 12
    low, high = intervals.clopper_pearson(np.arange(n + 1), n)
    for share in np.linspace(0.02, 0.98, 49):
        inside = (low <= share) & (share <= high)
        assert binom.pmf(np.arange(n + 1), n, share)[inside].sum() >= 0.95
