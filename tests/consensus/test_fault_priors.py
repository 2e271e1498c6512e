"""Priors of a check learned from outcomes: nothing below ten, then the posterior mean of a Dirichlet."""

from __future__ import annotations

import numpy as np
import pytest

from consensus import ConsensusError, Outcomes, Settings, check_sheet, learned_priors
from tests.consensus.charts import chart, sheet

SETTINGS = Settings()
ROWS = ["x.x.", ".xx.", ".x.x", "xxx.", "..xx", "x..x"]


def test_nothing_is_learned_from_nine_outcomes() -> None:
    assert learned_priors(SETTINGS, None) is SETTINGS
    assert learned_priors(SETTINGS, Outcomes(good=4, faulty={"line_open": 5})) == SETTINGS


def test_ten_outcomes_make_the_posterior_mean_of_a_dirichlet() -> None:
    """Against draws: prior Dirichlet over good and the kinds, reweighted by the multinomial likelihood.

    Seed 5, 400 000 draws of 7 shares; the effective number is above 2000, so 0.02 is four standard errors."""
    seen = Outcomes(good=6, faulty={"line_open": 3, "worn_contact": 1})
    found = learned_priors(SETTINGS, seen)
    rate, weight = SETTINGS.suspect_fault_rate, SETTINGS.suspect_outcomes_weight
    prior = dict(SETTINGS.suspect_fault_shares)
    alpha = np.array([1 - rate, *(rate * share for share in prior.values())]) * weight
    counts = np.array([seen.good, *(seen.by_cause.get(kind, 0) for kind in prior)])
    draws = np.random.default_rng(5).dirichlet(alpha, 400_000)
    log_weight = (counts * np.log(np.maximum(draws, 1e-300))).sum(axis=1)
    weights = np.exp(log_weight - log_weight.max())
    mean = (draws * weights[:, None]).sum(axis=0) / weights.sum()
    assert found.suspect_fault_rate == pytest.approx(1 - mean[0], abs=0.02)
    shares = dict(found.suspect_fault_shares)
    assert shares["line_open"] == pytest.approx(mean[1] / (1 - mean[0]), abs=0.02)
    assert sum(shares.values()) == pytest.approx(1.0)


def test_an_unnamed_fault_moves_the_rate_alone() -> None:
    found = learned_priors(SETTINGS, Outcomes(good=2, unnamed=18))
    assert found.suspect_fault_rate > SETTINGS.suspect_fault_rate
    before = dict(SETTINGS.suspect_fault_shares)
    for kind, share in found.suspect_fault_shares:
        assert share == pytest.approx(before[kind])


def test_causes_of_the_sheet_and_negative_counts_are_refused() -> None:
    with pytest.raises(ConsensusError, match="mirrored_pins"):
        learned_priors(SETTINGS, Outcomes(faulty={"mirrored_pins": 12}))
    with pytest.raises(ConsensusError, match="below zero"):
        learned_priors(SETTINGS, Outcomes(good=20, unnamed=-1))


def test_a_check_follows_what_was_learned() -> None:
    """One open contact: worn in a registry where it mostly was, a slip where units were mostly good."""
    like = chart(ROWS)
    lost = sheet(like, [ROWS[0], ROWS[1].replace("xx", ".x"), *ROWS[2:]])
    worn = check_sheet(lost, like, settings=learned_priors(SETTINGS, Outcomes(faulty={"worn_contact": 60})))
    good = check_sheet(lost, like, settings=learned_priors(SETTINGS, Outcomes(good=60)))
    assert worn.p_good < check_sheet(lost, like).p_good < good.p_good
