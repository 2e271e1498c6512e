"""Cheap tries of a further table: which group of units deserves to be propagated in full.

Most groups don't.  A few rounds with the present explanations tell, and fewer still where the evidence stands
far from what is needed: a trial ends as soon as its last rounds leave no doubt.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from consensus.inference import Pairs, make_pairs
from consensus.problem import Problem
from consensus.propagation import State, active_pairs, settling, start_state
from consensus.steps import Round, Steps
from consensus.symbols import dot
from consensus.tables import log_tables, place_beliefs

FloatArray = NDArray[np.float64]

TRIAL_ROUNDS = 5  # of a further table, before it is propagated in full
FAR = 10.0  # nats beyond what is needed from which more rounds of a trial are not needed


def log_evidence(problem: Problem, state: State) -> float:
    """Bethe log evidence: of the units given their cavities and of the places given all messages, less what
    both count (Yedidia, Freeman & Weiss 2005, IEEE Trans. Inf. Theory 51:2282-2312)."""
    cavity = place_beliefs(state.messages, state.prior, state.differs)
    shared = np.log(dot(cavity, np.exp(state.messages))).sum()
    places = log_tables(state.messages, state.prior, state.differs)
    return float(state.log_unit.sum() + places - shared)


def unit_tables(problem: Problem, pairs: Pairs, posterior: FloatArray) -> FloatArray:
    """(U, V) posterior table of each unit."""
    columns = [np.bincount(pairs.sheet, column, problem.sheets) for column in posterior.T]
    found = np.zeros((problem.units, posterior.shape[1]))
    found[problem.unit] = np.stack(columns, axis=1)
    return found


@dataclass
class Watch:
    """Looks at a trial after each round.  needed: log evidence; beyond: nats above it, one for each round."""

    problem: Problem
    needed: float
    beyond: list[float] = field(default_factory=list)

    def __call__(self, state: State) -> bool:
        """Whether the trial may end: far above what is needed, or below it by more than it still moves."""
        self.beyond.append(log_evidence(self.problem, state) - self.needed)
        last = self.beyond[-1]
        if len(self.beyond) == 1:
            return last > FAR
        step = abs(last - self.beyond[-2])
        return last > FAR + step or max(self.beyond[-2:]) + step < 0


def trying(
    problem: Problem, state: State, messages: FloatArray, share: FloatArray, needed: float
) -> Steps[bool]:
    """A cheap try of further tables: whether the present pairs, and "as read", from the given messages reach
    the log evidence that is needed."""
    sheets = np.arange(problem.sheets)
    many = problem.mistakes * problem.faults
    active = active_pairs(problem, state.pairs, state.posterior)
    keys = np.union1d(active.sheet * many + active.hypothesis, sheets * many)
    pairs = make_pairs(problem, keys // many, keys % many)
    watch = Watch(problem, needed)
    (tried,) = yield [Round(problem, start_state(problem, messages, share, state.block), pairs)]
    if not watch(tried):
        yield from settling(problem, tried, TRIAL_ROUNDS, watch)
    return watch.beyond[-1] >= 0
