"""Slip rates of one reader: classes of hands, what the chart's sheets told, and the counts of one sheet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from consensus.reader_rates import reader_rates
from consensus.settings import Settings
from tests.consensus.charts import MODEL

SETTINGS = Settings()
ONE_HAND = Settings(suspect_hands=((1.0, 0.05, 0.02, 40.0),))


def test_an_unknown_reader_has_the_mean_of_the_hands() -> None:
    rates = reader_rates(MODEL, "nobody", SETTINGS)
    hands = SETTINGS.suspect_hands
    assert rates.miss_rate == pytest.approx(sum(share * miss for share, miss, _, _ in hands))
    assert rates.invent_rate == pytest.approx(sum(share * invent for share, _, invent, _ in hands))


def test_counts_of_one_class_are_beta_binomial() -> None:
    """Against scipy.stats.betabinom; the binomial coefficients and the mean rates are put back."""
    rates = reader_rates(MODEL, "nobody", ONE_HAND)
    gain = float(rates.log_gain(np.array(3.0), np.array(17.0), np.array(1.0), np.array(24.0)))
    expected = stats.betabinom.logpmf(3, 20, 2.0, 38.0) - stats.binom.logpmf(3, 20, 0.05)
    expected += stats.betabinom.logpmf(1, 25, 0.8, 39.2) - stats.binom.logpmf(1, 25, 0.02)
    assert gain == pytest.approx(expected, abs=1e-9)


def test_what_is_known_of_a_contributor_is_bayes_rule() -> None:
    """Posterior of the class and of the rate after 9 of 100 contacts missed, 2 of 80 opens invented."""
    missed, contacts, invented, opens, prior = 9.0, 100.0, 2.0, 80.0, 30.0
    model = replace(
        MODEL,
        contributors=(
            (
                "x",
                (MODEL.miss * prior + missed) / (prior + contacts),
                (MODEL.invent * prior + invented) / (prior + opens),
            ),
        ),
        evidence=(("x", contacts, opens),),
        slip_weights=(prior, prior),
    )
    rates = reader_rates(model, "x", SETTINGS)
    weights = [
        share
        * stats.betabinom.pmf(9, 100, miss * n, (1 - miss) * n)
        * stats.betabinom.pmf(2, 80, invent * n, (1 - invent) * n)
        for share, miss, invent, n in SETTINGS.suspect_hands
    ]
    assert np.exp(rates.log_share) == pytest.approx(np.array(weights) / sum(weights))
    means = [(miss * n + 9) / (n + 100) for _, miss, _, n in SETTINGS.suspect_hands]
    assert rates.miss_rate == pytest.approx(np.dot(weights, means) / sum(weights))


def test_who_missed_much_is_thought_to_invent_too() -> None:
    """Both rates belong to a hand: three missed contacts make an invented one likelier."""
    rates = reader_rates(MODEL, "nobody", SETTINGS)

    def gain(missed: float, invented: float) -> float:
        counts = (np.array(missed), np.array(20 - missed), np.array(invented), np.array(20 - invented))
        return float(rates.log_gain(*counts))

    assert gain(3, 1) - gain(3, 0) > gain(0, 1) - gain(0, 0)


def test_a_chart_that_does_not_say_how_much_it_knows_is_taken_at_its_rates() -> None:
    model = replace(MODEL, contributors=(("x", 0.2, 0.1),))
    rates = reader_rates(model, "x", SETTINGS)
    assert (rates.miss_rate, rates.invent_rate) == pytest.approx((0.2, 0.1))
    assert rates.miss.sum() == pytest.approx(SETTINGS.suspect_slip_strength)
