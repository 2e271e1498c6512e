"""How often the reader of one sheet slips: a careful hand or a careless one, and what is known of this one.

Readers come in two kinds: most hardly ever slip, some do so every tenth time, and who misses contacts also
invents some.  So the two slip rates have a prior of a few classes (`Settings.suspect_hands`), a pair of Beta
distributions each.  What the chart's own sheets told of a contributor is added to it by Bayes' rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, logsumexp

from consensus.results import ReadingModel
from consensus.settings import Settings

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ReaderRates:
    """log_share: (C,) of the classes; miss, invent: (C, 2) Beta (a, b) of the slip rates in each."""

    log_share: FloatArray
    miss: FloatArray
    invent: FloatArray

    @property
    def miss_rate(self) -> float:
        """Mean share of contacts that are read as open."""
        return self._mean(self.miss)

    @property
    def invent_rate(self) -> float:
        """Mean share of opens that are read as contacts."""
        return self._mean(self.invent)

    def _mean(self, beta: FloatArray) -> float:
        return float(np.exp(self.log_share) @ (beta[:, 0] / beta.sum(axis=1)))

    def log_gain(
        self, missed: FloatArray, shown: FloatArray, invented: FloatArray, held: FloatArray
    ) -> FloatArray:
        """(…,) log of the chance of these counts, the rates integrated, over the same at the mean rates.

        missed, shown: counts of contacts read as open and as contact; invented, held: of opens.  Within a
        class counts are beta-binomial (Skellam 1948, J. R. Stat. Soc. B 10:257-261).
        """
        of_class = np.empty((len(self.log_share), *np.shape(missed)))
        for at, (share, miss, invent) in enumerate(zip(self.log_share, self.miss, self.invent, strict=True)):
            of_class[at] = share + beta_gain(missed, shown, *miss)
            of_class[at] += beta_gain(invented, held, *invent)
        gain = _log_sum(of_class)
        m, i = self.miss_rate, self.invent_rate
        at_means = missed * np.log(m) + shown * np.log1p(-m) + invented * np.log(i) + held * np.log1p(-i)
        return gain - at_means


def beta_gain(hits: FloatArray, others: FloatArray, a: float, b: float) -> FloatArray:
    """log ∫ p^hits (1 - p)^others dBeta(a, b)."""
    return np.asarray(betaln(a + hits, b + others) - betaln(a, b))


def _log_sum(logs: FloatArray) -> FloatArray:
    """log Σ exp over the first axis of finite figures, without scipy's care for others."""
    total = logs[0]
    for one in logs[1:]:
        total = np.maximum(total, one) + np.log1p(np.exp(-np.abs(total - one)))
    return total


def reader_rates(model: ReadingModel, contributor: str, settings: Settings) -> ReaderRates:
    """The prior of a reader of whom nothing is known, or what the chart's sheets made of it."""
    share, miss, invent, worth = np.array(settings.suspect_hands).T
    log_share = np.log(share / share.sum())
    miss = np.stack([miss * worth, (1 - miss) * worth], axis=1)
    invent = np.stack([invent * worth, (1 - invent) * worth], axis=1)
    rates = {name: (m, i) for name, m, i in model.contributors}
    if contributor not in rates:
        return ReaderRates(log_share, miss, invent)
    evidence = {name: (contacts, opens) for name, contacts, opens in model.evidence}
    m, i = rates[contributor]
    if contributor not in evidence:
        weight = settings.suspect_slip_strength
        known = [np.array([[rate * weight, (1 - rate) * weight]]) for rate in (m, i)]
        return ReaderRates(np.zeros(1), *known)
    contacts, opens = evidence[contributor]
    missed = _slips(m, contacts, model.miss, model.slip_weights[0])
    invented = _slips(i, opens, model.invent, model.slip_weights[1])
    more = np.array([missed, contacts - missed]), np.array([invented, opens - invented])
    told = [
        float(beta_gain(*more[0], *one) + beta_gain(*more[1], *other))
        for one, other in zip(miss, invent, strict=True)
    ]
    log_share = log_share + np.array(told)
    return ReaderRates(log_share - logsumexp(log_share), miss + more[0], invent + more[1])


def _slips(rate: float, of: float, population: float, weight: float) -> float:
    """Slips that were counted, given the posterior mean `rate` after `of` readings and the prior before
    them."""
    return float(np.clip(rate * (weight + of) - population * weight, 0.0, of))
