"""Job facts: posterior against Bayes' rule by enumeration, calibration against a colluding fifth."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import betaln
from scipy.stats import norm

from consensus.errors import ConsensusError
from consensus.facts import (
    WRONG_RATE,
    WRONG_STRENGTH,
    FactAnswers,
    agree_facts,
    agree_quantity,
)

IntArray = NDArray[np.int64]
A, B = WRONG_RATE * WRONG_STRENGTH, (1 - WRONG_RATE) * WRONG_STRENGTH


def answers(
    rows: list[tuple[int, int, int]], choices: list[int], workshop: list[int] | None = None
) -> FactAnswers:
    fact, who, choice = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    return FactAnswers(fact, who, who if workshop is None else np.array(workshop), choice, np.array(choices))


def test_who_answered_one_fact_counts_by_bayes_rule() -> None:
    told = answers([(0, 0, 1), (0, 1, 1), (0, 2, 1), (0, 3, 0)], [2])
    odds = ((1 - WRONG_RATE) / WRONG_RATE) ** 2  # three for, one against
    assert agree_facts(told)[0].p[1] == pytest.approx(odds / (1 + odds), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_posterior_is_near_the_exact_one(seed: int) -> None:
    """All truths enumerated, rates integrated out (beta-binomial): mean difference below 0.02."""
    chance = np.random.default_rng(seed)
    truth = chance.integers(0, 2, 6)
    rows = [
        (fact, who, int(truth[fact] ^ (chance.random() < 0.15)))
        for fact in range(6)
        for who in range(7)
        if chance.random() < 0.7
    ]
    log_p, closed = [], np.array(list(itertools.product([0, 1], repeat=6)))
    for guess in closed:
        wrong, right = np.zeros(7), np.zeros(7)
        for fact, who, choice in rows:
            wrong[who] += choice != guess[fact]
            right[who] += choice == guess[fact]
        log_p.append((betaln(A + wrong, B + right) - betaln(A, B)).sum())
    p = np.exp(np.array(log_p) - np.logaddexp.reduce(log_p))
    exact = (p[:, None] * closed).sum(axis=0)
    found = np.array([one.p[1] for one in agree_facts(answers(rows, [2] * 6))])
    assert np.abs(found - exact).mean() < 0.02
    assert ((found > 0.5) == (exact > 0.5))[np.abs(exact - 0.5) > 0.05].all()


def test_colleagues_are_one_voice() -> None:
    rows = [(0, who, 1) for who in range(6)]
    together = agree_facts(answers(rows, [2], workshop=[0] * 6))[0]
    assert (together.voices, together.standing) == (1, "thin")
    assert agree_facts(answers(rows, [2]))[0].standing == "agreed"


def test_four_agreeing_voices_stay_provisional_and_a_dispute_shows() -> None:
    rows = [(0, who, 0) for who in range(4)]
    agreement = agree_facts(answers(rows, [3]))[0]
    assert agreement.standing == "provisional" and agreement.agreeing == 4
    assert agreement.interval()[0] == pytest.approx(0.3976, abs=1e-4)  # NIST: 0.025 ** (1 / 4)
    assert agree_facts(answers(rows, [3]), disputed=[0])[0].standing == "disputed"


def test_a_fact_that_nobody_answered_is_unread() -> None:
    assert [one.standing for one in agree_facts(answers([(1, 0, 0)], [2, 2]))] == ["unread", "thin"]


def told_world(seed: int, facts: int, people: int, fewest: int, most: int) -> tuple[FactAnswers, IntArray]:
    """A tenth answers carelessly (35 % wrong), a fifth gives the same wrong answer to every fact."""
    chance = np.random.default_rng(seed)
    choices = chance.choice([2, 2, 3, 4], facts)
    truth = chance.integers(0, choices)
    lie = (truth + chance.integers(1, choices)) % choices
    kind = chance.permutation(people)
    rows = []
    for fact in range(facts):
        for who in chance.choice(people, chance.integers(fewest, most + 1), replace=False):
            wrong = kind[who] < 0.3 * people
            if kind[who] < 0.1 * people or not wrong:
                wrong = chance.random() < (0.35 if kind[who] < 0.1 * people else 0.03)
                other = (truth[fact] + chance.integers(1, choices[fact])) % choices[fact]
                rows.append((fact, int(who), int(other if wrong else truth[fact])))
            else:
                rows.append((fact, int(who), int(lie[fact])))
    return answers(rows, list(choices)), truth


@pytest.mark.slow
@pytest.mark.parametrize(
    ("worlds", "facts", "people", "fewest", "most", "least_agreed"),
    [(12, 150, 20, 3, 8, 0.4), (150, 6, 20, 5, 10, 0.4), (600, 1, 20, 5, 9, 0.3)],
)
def test_a_colluding_fifth_makes_at_most_one_in_two_hundred_agreed_answers_wrong(
    worlds: int, facts: int, people: int, fewest: int, most: int, least_agreed: float
) -> None:
    agreed = wrong = 0
    for seed in range(worlds):
        told, truth = told_world(seed, facts, people, fewest, most)
        found = agree_facts(told)
        right = [one.choice == truth[n] for n, one in enumerate(found) if one.standing == "agreed"]
        agreed, wrong = agreed + len(right), wrong + right.count(False)
    assert agreed >= least_agreed * worlds * facts
    assert wrong <= 0.005 * agreed


def test_answers_that_cannot_be_are_refused() -> None:
    with pytest.raises(ConsensusError, match="none of its fact's choices"):
        answers([(0, 0, 2)], [2])
    with pytest.raises(ConsensusError, match="twice"):
        answers([(0, 0, 1), (0, 0, 1)], [2])


def test_a_quantity_is_robust_and_holds_the_next_job() -> None:
    """95 of 100 intervals hold 95 % of next jobs: by simulation, 300 samples, so ± 4 %."""
    chance = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        found = agree_quantity(np.exp(chance.normal(1.0, 0.1, 12)), np.arange(12))
        assert found.accept is not None
        low, high = np.log(found.accept)
        held += norm.cdf(high, 1.0, 0.1) - norm.cdf(low, 1.0, 0.1) >= 0.95
    assert 0.90 <= held / 300 <= 0.99
    spoiled = agree_quantity(np.array([2.0, 2.1, 1.9, 2.0, 2.05, 40.0]), np.arange(6))
    assert spoiled.typical == pytest.approx(2.0, rel=0.05) and spoiled.standing == "agreed"


def test_colleagues_quantities_count_once() -> None:
    found = agree_quantity(np.array([2.0, 2.2, 9.0, 2.1]), np.array([0, 0, 0, 1]))
    assert (found.voices, found.standing) == (2, "provisional")
    with pytest.raises(ConsensusError, match="positive"):
        agree_quantity(np.array([0.0]), np.array([0]))
