"""Facts about the job around a switch: what most people who did it found, and how sure that is.

A choice fact ("does it come out with the rest left in place: yes, no") is treated as a cell is: a posterior
over its choices, independent voices, an interval, a standing.  A quantity ("litres of fluid lost") gets a
robust centre and a tolerance interval for the next job.

Model of choices: a fact has one true choice, each equally likely beforehand.  Contributor k answers wrongly
with a rate e_k of their own, which has a Beta prior and is learned over all facts that k answered (one-coin
model: Dawid & Skene 1979, Applied Statistics 28:20-28, with one rate instead of a matrix).  Who is wrong is
taken to give the same wrong answer as the others who are (a common mistake, or an arrangement), so that a
fact with many choices is no surer than one with two; for the same reason the prior rate is high, until a
contributor's other answers show better.  Fitted by collapsed variational Bayes of zeroth order (Asuncion,
Welling, Smyth & Teh 2009, UAI): an answer is weighed by what its contributor's *other* answers say of them,
so that nobody vouches for themselves; for who answered one fact it is Bayes' rule itself.  Colleagues of one
workshop tell each other: their answers to one fact share the weight of one voice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from consensus.agreement import standing
from consensus.errors import ConsensusError
from consensus.intervals import clopper_pearson
from consensus.robust import algorithm_a
from consensus.settings import Settings
from consensus.tolerance import two_sided_factor

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WRONG_RATE, WRONG_STRENGTH = 0.2, 8.0  # mean of the prior of e_k and the answers that it is worth
ROUNDS, STILL = 100, 1e-10


@dataclass(frozen=True)
class FactAnswers:
    """Answers of many contributors to many choice facts.

    fact, contributor, workshop, choice: (n,) indices; workshop is a number of its own for who has none.
    choices: (facts,) how many choices each fact has.  An answer is the person's last word on the fact.
    """

    fact: IntArray
    contributor: IntArray
    workshop: IntArray
    choice: IntArray
    choices: IntArray

    def __post_init__(self) -> None:
        sizes = {len(self.fact), len(self.contributor), len(self.workshop), len(self.choice)}
        if len(sizes) > 1:
            raise ConsensusError("answers_shape", f"Columns of {sorted(sizes)} answers.", "Give one each.")
        if len(self.fact) and ((self.choice < 0) | (self.choice >= self.choices[self.fact])).any():
            raise ConsensusError("choice_range", "An answer is none of its fact's choices.", "Drop it.")
        pairs = self.fact * (self.contributor.max(initial=0) + 1) + self.contributor
        if len(np.unique(pairs)) < len(pairs):
            raise ConsensusError("answer_twice", "A person answered a fact twice.", "Keep the last word.")


@dataclass(frozen=True)
class FactAgreement:
    """What is known of one choice fact.  p: (choices,) posterior; voices: independent answers."""

    choice: int | None
    p: tuple[float, ...]
    standing: str
    voices: int
    agreeing: int

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Clopper-Pearson interval of agreeing / voices."""
        found = clopper_pearson(self.agreeing, self.voices, level)
        return float(found.low), float(found.high)


def agree_facts(
    answers: FactAnswers, disputed: Sequence[int] = (), settings: Settings | None = None
) -> tuple[FactAgreement, ...]:
    """One agreement a fact.  disputed: facts with an open dispute.

    >>> five = np.arange(5)
    >>> told = FactAnswers(np.zeros(5, int), five, five, np.array([1, 1, 1, 1, 1]), np.array([2]))
    >>> agree_facts(told)[0].choice, agree_facts(told)[0].standing
    (1, 'agreed')
    """
    settings = settings or Settings()
    weight = _voice_weights(answers)
    log_p = _fit(answers, weight)
    return tuple(
        _agreement(answers, np.exp(log_p[fact, : answers.choices[fact]]), fact, fact in disputed, settings)
        for fact in range(len(answers.choices))
    )


def _voice_weights(answers: FactAnswers) -> FloatArray:
    """(n,) an answer's share of its workshop's one voice on that fact."""
    keys = answers.fact * (answers.workshop.max(initial=0) + 1) + answers.workshop
    _, which, count = np.unique(keys, return_inverse=True, return_counts=True)
    return 1.0 / count[which]


def _fit(answers: FactAnswers, weight: FloatArray) -> FloatArray:
    """(facts, most choices) log posterior; impossible choices -inf."""
    facts, most = len(answers.choices), int(answers.choices.max(initial=1))
    possible = np.arange(most)[None, :] < answers.choices[:, None]
    votes = np.zeros((facts, most))
    np.add.at(votes, (answers.fact, answers.choice), weight)
    log_p = np.where(possible, -np.log(answers.choices)[:, None], -np.inf)
    who, people = answers.contributor, int(answers.contributor.max(initial=-1)) + 1
    agrees = (votes / np.maximum(votes.sum(axis=1, keepdims=True), 1e-9))[answers.fact, answers.choice]
    for _ in range(ROUNDS):
        wrong, right = weight * (1 - agrees), weight * agrees
        others_wrong = WRONG_RATE * WRONG_STRENGTH + np.bincount(who, wrong, people)[who] - wrong
        others_right = (1 - WRONG_RATE) * WRONG_STRENGTH + np.bincount(who, right, people)[who] - right
        score = np.zeros((facts, most))
        np.add.at(score, (answers.fact, answers.choice), weight * np.log(others_right / others_wrong))
        score = np.where(possible, score, -np.inf)
        log_p = score - logsumexp(score, axis=1, keepdims=True)
        before, agrees = agrees, np.exp(log_p[answers.fact, answers.choice])
        if np.abs(agrees - before).max(initial=0.0) < STILL:
            break
    return log_p


def _agreement(
    answers: FactAnswers, p: FloatArray, fact: int, disputed: bool, settings: Settings
) -> FactAgreement:
    here = answers.fact == fact
    voices = len(np.unique(answers.workshop[here]))
    if not voices:
        return FactAgreement(None, tuple(p), "unread", 0, 0)
    best = int(p.argmax())
    against = len(np.unique(answers.workshop[here & (answers.choice != best)]))
    word = standing(voices, voices, float(p[best]), disputed, settings)
    # a workshop that is not of one mind doesn't agree
    return FactAgreement(best, tuple(float(one) for one in p), word, voices, voices - against)


@dataclass(frozen=True)
class QuantityAgreement:
    """A quantity in its own unit: robust centre, its standard uncertainty (relative), and where the next
    job should lie (content 95 %, confidence 95 %); None below two voices."""

    typical: float | None
    relative_u: float | None
    accept: tuple[float, float] | None
    standing: str
    voices: int


def agree_quantity(
    values: FloatArray, workshop: IntArray, disputed: bool = False, settings: Settings | None = None
) -> QuantityAgreement:
    """values: (n,) positive figures in one unit; workshop: (n,) whose colleagues count once, by their median.

    On ln(value), since times and quantities are skewed: Algorithm A (ISO 13528:2015, C.3), then a two-sided
    tolerance interval of a normal sample.  Raises ConsensusError for figures that aren't positive.

    >>> agree_quantity(np.array([2.0, 2.1, 1.9, 2.0, 2.05]), np.arange(5)).standing
    'agreed'
    """
    settings = settings or Settings()
    if (values <= 0).any() or not np.isfinite(values).all():
        raise ConsensusError("quantity_range", "A quantity is not a positive number.", "Drop it.")
    each = np.array([np.median(np.log(values[workshop == one])) for one in np.unique(workshop)])
    voices = len(each)
    if voices < 2:
        typical = float(np.exp(each[0])) if voices else None
        return QuantityAgreement(typical, None, None, "thin" if voices else "unread", voices)
    found = algorithm_a(each)
    centre, spread = float(found.centre), float(found.spread)
    reach = two_sided_factor(voices) * spread
    enough = voices >= max(settings.agreed_units, settings.agreed_contributors)
    word = "disputed" if disputed else "agreed" if enough else "provisional"
    return QuantityAgreement(
        typical=float(np.exp(centre)),
        relative_u=float(found.uncertainty),
        accept=(float(np.exp(centre - reach)), float(np.exp(centre + reach))),
        standing=word,
        voices=voices,
    )
