"""Likelihoods of single readings: each a proper distribution, censoring and repeats as they should be."""

from __future__ import annotations

import numpy as np
import pytest

from consensus.contacts import CLOSED, OPEN, make_alphabet
from consensus.reading_odds import (
    WORN_READS,
    WORN_SHARES,
    contact_figures,
    reading_odds,
    with_repeats,
)
from consensus.readings import Kind, Readings
from consensus.settings import Settings
from tests.consensus.charts import MODEL

SETTINGS = Settings()
LADDER = make_alphabet(np.array([220.0, 1200.0]), SETTINGS)
PLAIN = make_alphabet(np.empty(0), SETTINGS)


def readings(*texts: float | str, lead: float = 0.0, limit: float = 2e7) -> Readings:
    n = len(texts)
    kind = [
        Kind.OVER_LIMIT if text == "OL" else Kind.CONTINUITY if text == "cont" else Kind.VALUE
        for text in texts
    ]
    low = np.array([np.nan if isinstance(text, str) else text for text in texts], dtype=np.float64)
    zeros = np.zeros(n, np.int32)
    return Readings(
        sheet=zeros,
        position=zeros,
        between=np.zeros(n, bool),
        sweep=zeros + 1,
        pin=zeros + 1,
        against=zeros,
        kind=np.array(kind, np.int32),
        low=low,
        high=low,
        limit=np.full(n, limit),
        lead=np.full(n, lead),
    )


@pytest.mark.parametrize("alphabet", [PLAIN, LADDER])
def test_a_symbol_spreads_one_over_all_that_a_meter_can_show(alphabet) -> None:
    """Sum of P(over limit) and the integral over ln(Ω) of figures; a reader who writes figures.

    Tolerance 0.06: slips onto figures are not carried to their last hundredth, and no ratio needs it."""
    ohms = np.exp(np.linspace(np.log(0.031), np.log(1.9e7), 40_000))
    odds = reading_odds(
        readings(*ohms.tolist(), "OL"), alphabet, MODEL, "x", SETTINGS, levels=alphabet.levels.tolist()
    )
    step = np.log(ohms[1] / ohms[0])
    total = odds.likelihood[:-1].sum(axis=0) * step + odds.likelihood[-1]
    for symbol in (OPEN, CLOSED, *range(2, alphabet.odd)):
        assert total[symbol] == pytest.approx(1.0, abs=0.06)


def test_the_likeliest_symbol_is_the_obvious_one() -> None:
    odds = reading_odds(readings("OL", 0.4, 220.5, 1198.0, 5e6, "cont"), LADDER, MODEL, "x", SETTINGS)
    assert odds.likelihood[:, : LADDER.size].argmax(axis=1).tolist() == [OPEN, CLOSED, 2, 3, OPEN, CLOSED]
    assert odds.shows_open.tolist() == [True, False, False, False, True, False]


def test_a_level_above_the_meters_limit_reads_over_limit() -> None:
    low = reading_odds(readings("OL", limit=1000.0), LADDER, MODEL, "x", SETTINGS)
    high = reading_odds(readings("OL", limit=2e7), LADDER, MODEL, "x", SETTINGS)
    assert low.likelihood[0, 3] > 0.9
    assert high.likelihood[0, 3] < 0.05
    assert low.likelihood[0, 2] < 0.05  # 220 Ω would have shown


def test_leads_are_taken_off() -> None:
    assert contact_figures(readings(0.9, lead=0.5)) == pytest.approx([0.4])
    bare = reading_odds(readings(0.4), PLAIN, MODEL, "x", SETTINGS).likelihood
    assert reading_odds(readings(0.9, lead=0.5), PLAIN, MODEL, "x", SETTINGS).likelihood == pytest.approx(
        bare
    )


def test_a_known_reader_is_judged_by_their_own_rates() -> None:
    from dataclasses import replace

    model = replace(MODEL, contributors=(("careless", 0.2, 0.1),))
    known = reading_odds(readings("OL"), PLAIN, model, "careless", SETTINGS)
    assert (known.miss, known.invent) == pytest.approx((0.2, 0.1))
    assert (
        known.likelihood[0, CLOSED]
        > 5 * reading_odds(readings("OL"), PLAIN, model, "x", SETTINGS).likelihood[0, CLOSED]
    )


def test_readings_of_one_worn_contact_keep_its_kind() -> None:
    """The product of the sequential likelihoods is the mixture over kinds of the products."""
    odds = reading_odds(readings("OL", "OL", 0.4, "OL"), PLAIN, MODEL, "x", SETTINGS)
    together = with_repeats(odds, np.array([5, 5, 7, 5])).likelihood[:, -1]
    joint = (WORN_SHARES * odds.worn[[0, 1, 3]].prod(axis=0)).sum()
    assert together[[0, 1, 3]].prod() == pytest.approx(joint, rel=1e-12)
    assert together[2] == pytest.approx(WORN_SHARES @ odds.worn[2])
    assert WORN_SHARES.sum() == pytest.approx(1.0)
    assert WORN_READS.sum(axis=1) == pytest.approx(1.0)
    assert together[1] > together[0]  # open once, likelier open again
