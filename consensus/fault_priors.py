"""Fault rates of suspects, learned from what recorded outcomes said of them.

Before outcomes the settings stand, which are common practice.  From ENOUGH on they give way by Bayes' rule:
counts of units by cause are multinomial, the settings their Dirichlet prior (Gelman et al., Bayesian Data
Analysis, 3rd ed., section 3.4), worth `suspect_outcomes_weight` outcomes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from consensus.errors import ConsensusError
from consensus.settings import Settings

ENOUGH = 10  # outcomes below which nothing is learned


@dataclass(frozen=True)
class Outcomes:
    """What became of suspects.  good: units that had no fault; faulty: by cause of the contract; unnamed:
    units with a fault of which nobody said which."""

    good: int = 0
    faulty: Mapping[str, int] | None = None
    unnamed: int = 0

    @property
    def by_cause(self) -> dict[str, int]:
        return dict(self.faulty or {})

    @property
    def total(self) -> int:
        return self.good + sum(self.by_cause.values()) + self.unnamed


def learned_priors(settings: Settings, outcomes: Outcomes | None) -> Settings:
    """`settings` with the fault rate and the shares of its kinds as outcomes have them.

    A Dirichlet's sums are Dirichlet again, so units with an unnamed fault move the rate and leave the
    shares.  Raises ConsensusError for a cause that is no fault of a unit, or for a negative count.

    >>> seen = Outcomes(good=30, faulty={"line_open": 10})
    >>> round(learned_priors(Settings(), seen).suspect_fault_rate, 3)
    0.333
    """
    if outcomes is None:
        return settings
    shares = dict(settings.suspect_fault_shares)
    counts = outcomes.by_cause
    unknown = sorted(set(counts) - set(shares))
    if unknown:
        raise ConsensusError(
            "cause_unknown",
            f"No fault of a unit is called {', '.join(unknown)}.",
            f"Name one of {', '.join(shares)}, or count it as unnamed.",
        )
    if min(outcomes.good, outcomes.unnamed, *counts.values(), 0) < 0:
        raise ConsensusError(
            "count_negative", "A count of outcomes is below zero.", "Count each outcome once."
        )
    if outcomes.total < ENOUGH:
        return settings
    weight, rate = settings.suspect_outcomes_weight, settings.suspect_fault_rate
    named = sum(counts.values())
    faulty = (rate * weight + named + outcomes.unnamed) / (weight + outcomes.total)
    kinds = tuple(
        (kind, (share * rate * weight + counts.get(kind, 0)) / (rate * weight + named))
        for kind, share in shares.items()
    )
    return settings.with_values(suspect_fault_rate=faulty, suspect_fault_shares=kinds)
