"""The rounds of belief propagation on one design, and the problem that they start from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from consensus.blocks import log_table_priors
from consensus.hypotheses import CONSTANTS
from consensus.inference import (
    NEGLIGIBLE,
    Pairs,
    crossed_pairs,
    make_pairs,
    single_pairs,
    source_beliefs,
    weigh,
)
from consensus.messages import unit_messages
from consensus.problem import Problem
from consensus.steps import Result, Round, Steps
from consensus.symbols import over_symbols, peak
from consensus.table_pairs import fits
from consensus.tables import differing_shares, place_beliefs

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DEAR_FROM = 3.0  # nats that the best simple explanation, its prior included, must lack before dear ones
CROSSED_FROM = 6.0  # nats that it must lack before a mistake is weighed together with a fault
LEADING = 3  # mistakes, and faults, that are weighed together with everything else
PRIOR_WEIGHT = 6.0  # places that the prior state shares are worth


@dataclass(frozen=True)
class Joint:
    """Joint explanations of all sheets (joint.py).  weight: (B,) posterior; tables: (B, Q, A) log messages of
    all units summed; repeats: (B, K + 1, Q, A) logs of what is said of the contacts of units that are read
    more than once; hypothesis: (B, N)."""

    weight: FloatArray
    tables: FloatArray
    repeats: FloatArray
    hypothesis: IntArray


@dataclass
class State:
    """Where propagation stands.

    messages: (U, V, Q, A) log messages of units to places; share: (V,); prior: (A,) state shares; differs:
    (V - 1,) see tables.py; pairs with their fit (P, V) log likelihoods and posterior (P, V); log_unit: (U,)
    log evidence of each unit; beliefs: (U, V, sources, A) cavities with constants; rounds: how many were
    run; final: (V, Q, A) beliefs with all units, where they do not follow from the messages, and joint, the
    explanations behind them (joint.py); block: the table that a few accounts made up, -1 where there is none
    (blocks.py).
    """

    messages: FloatArray
    share: FloatArray
    prior: FloatArray
    differs: FloatArray
    pairs: Pairs
    fit: FloatArray
    posterior: FloatArray
    log_unit: FloatArray
    beliefs: FloatArray
    rounds: int
    final: FloatArray | None = None
    block: int = -1
    joint: Joint | None = None


def run(steps: Steps[Result]) -> Result:
    """The result of steps whose rounds are run one by one."""
    try:
        wanted = next(steps)
        while True:
            wanted = steps.send([go_round(one.problem, one.state, one.pairs) for one in wanted])
    except StopIteration as end:
        result: Result = end.value
        return result


def first_prior(problem: Problem) -> FloatArray:
    """(A,) state shares before data."""
    return _first_prior(problem.alphabet.size)


@cache
def _first_prior(symbols: int) -> FloatArray:
    levels = symbols - 3
    prior = np.full(symbols, 0.3 / max(levels, 1))
    prior[[0, 1, -1]] = (0.4, 0.29, 0.01) if levels else (0.55, 0.445, 0.005)
    prior /= prior.sum()
    prior.setflags(write=False)
    return prior


def shares_of_states(problem: Problem, total: FloatArray, prior: FloatArray) -> FloatArray:
    """(…, A) state shares: beliefs of the places that were read, by all messages together (…, Q, A), and the
    prior as `PRIOR_WEIGHT` places."""
    belief = np.exp(total - peak(total)) * prior[..., None, :]
    belief /= over_symbols(belief)
    read = peak(np.abs(total)) > 0.1
    share = (belief * read).sum(axis=-2) + PRIOR_WEIGHT * first_prior(problem)
    if share.shape[-1] > 3:
        levels = share[..., 2:-1]
        share[..., 2:-1] = 0.5 * levels + 0.5 * levels.mean(axis=-1, keepdims=True)
    return np.asarray(share / share.sum(axis=-1, keepdims=True))


def ideal_fit(problem: Problem) -> FloatArray:
    """(N,) log likelihood of each sheet if every reading showed its likeliest symbol."""
    best = np.log(peak(problem.like)[:, 0])
    return np.asarray(np.bincount(problem.sheet, best, problem.sheets), dtype=np.float64)


def lacking(problem: Problem, pairs: Pairs, fit: FloatArray, posterior: FloatArray) -> FloatArray:
    """(N,) nats by which the likeliest explanation of each sheet falls short of an ideal one."""
    known = peak(np.where(posterior > 0.01, fit, -np.inf))[:, 0]
    best = np.full(problem.sheets, -np.inf)
    np.maximum.at(best, pairs.sheet, known)
    return ideal_fit(problem) - best


def judge(
    problem: Problem, pairs: Pairs, beliefs: FloatArray, share: FloatArray, block: int = -1
) -> tuple[FloatArray, ...]:
    """Fit (P, V), posterior (P, V) and unit evidence (U,) of pairs under (U, V, sources, A) beliefs."""
    fit = fits(problem, pairs, beliefs)
    posterior, log_unit = weigh(problem, pairs, fit, log_table_priors(problem.accounts, share, block))
    return fit, posterior, log_unit


def start_state(
    problem: Problem, messages: FloatArray | None = None, share: FloatArray | None = None, block: int = -1
) -> State:
    """A state to propagate from: given messages, or each sheet taken as read with its prior probability."""
    settings = problem.settings
    share = np.ones(1) if share is None else share
    prior = first_prior(problem)
    differs = np.full(len(share) - 1, settings.variant_differs)
    pairs = make_pairs(problem, np.arange(problem.sheets), np.zeros(problem.sheets, dtype=np.int64))
    posterior = np.exp(problem.log_mistake[:, :1] + problem.log_fault[0]) * share
    if messages is None:
        messages = np.zeros((problem.units, len(share), problem.places, problem.alphabet.size))
        beliefs = source_beliefs(problem, place_beliefs(messages, prior, differs), prior)
        messages = unit_messages(problem, pairs, posterior, beliefs)
    none = np.zeros(0)
    return State(messages, share, prior, differs, pairs, none, posterior, none, none, 0, block=block)


def go_round(problem: Problem, state: State, pairs: Pairs) -> State:
    """One round: cavities, posteriors of the pairs, messages, state shares."""
    settings, share, differs = problem.settings, state.share, state.differs
    cavity = place_beliefs(state.messages, state.prior, differs)
    beliefs = source_beliefs(problem, cavity, state.prior)
    fit, posterior, log_unit = judge(problem, pairs, beliefs, share, state.block)
    messages = unit_messages(problem, pairs, posterior, beliefs)
    prior = shares_of_states(problem, messages[:, 0].sum(axis=0), state.prior)
    if len(share) > 1:
        differs = differing_shares(messages, prior, differs, settings)
        share = table_shares(problem, pairs, posterior)
    rounds = state.rounds + 1
    return State(
        messages, share, prior, differs, pairs, fit, posterior, log_unit, beliefs, rounds, block=state.block
    )


def settling(
    problem: Problem, state: State, most: int, ended: Callable[[State], bool] | None = None
) -> Steps[State]:
    """Rounds over the pairs that are not negligible, until none moves by more than the tolerance, or `ended`
    says so."""
    pairs = active_pairs(problem, state.pairs, state.posterior)
    previous, still = None, False
    for _ in range(most):
        (state,) = yield [Round(problem, state, pairs)]
        if previous is not None and np.abs(state.posterior - previous).max() < problem.settings.tolerance:
            still = True
        if (ended is not None and ended(state)) or still:
            break
        previous = state.posterior
    return state


def propagate(
    problem: Problem,
    messages: FloatArray | None = None,
    share: FloatArray | None = None,
    crossed: bool = True,
    block: int = -1,
) -> State:
    """The state of one design; see `propagating`."""
    return run(propagating(problem, messages, share, crossed, block))


def propagating(
    problem: Problem,
    messages: FloatArray | None = None,
    share: FloatArray | None = None,
    crossed: bool = True,
    block: int = -1,
) -> Steps[State]:
    """One round of simple explanations, one with the dear ones where something is lacking; with `crossed`
    one that weighs a mistake and a fault at once for sheets still far from explained; then rounds until no
    posterior moves by more than the tolerance."""
    start = start_state(problem, messages, share, block)
    (state,) = yield [Round(problem, start, single_pairs(problem, problem.strange))]
    mistake = state.pairs.hypothesis % problem.mistakes
    fault = state.pairs.hypothesis // problem.mistakes
    prior = problem.log_mistake[state.pairs.sheet, mistake] + problem.log_fault[fault]
    dear = lacking(problem, state.pairs, state.fit + prior[:, None], state.posterior) > DEAR_FROM
    again = dear | problem.strange
    kept = active_pairs(problem, state.pairs, state.posterior)
    (state,) = yield [Round(problem, state, single_pairs(problem, again, kept))]
    badly = lacking(problem, state.pairs, state.fit, state.posterior) > CROSSED_FROM
    if crossed and (badly & ~problem.light).any():
        kept = active_pairs(problem, state.pairs, state.posterior)
        both = crossed_pairs(problem, badly, *leading(problem, state.pairs, state.fit), kept)
        (state,) = yield [Round(problem, state, both)]
    return (yield from settling(problem, state, problem.settings.max_iterations))


def leading(problem: Problem, pairs: Pairs, fit: FloatArray) -> tuple[BoolArray, BoolArray]:
    """(N, M), (N, F) the mistakes and faults that, alone, fit each sheet best; fit: (P, V)."""
    fit = fit.max(axis=1)
    mistake, fault = pairs.hypothesis % problem.mistakes, pairs.hypothesis // problem.mistakes
    found = []
    for column, other, many in ((mistake, fault, problem.mistakes), (fault, mistake, problem.faults)):
        table = np.full((problem.sheets, many), -np.inf)
        alone = other == 0
        table[pairs.sheet[alone], column[alone]] = fit[alone]
        rank = np.argsort(np.argsort(-table, axis=1, kind="stable"), axis=1, kind="stable")
        found.append((rank < LEADING) | (np.arange(many) == 0))
    return found[0], found[1]


def active_pairs(problem: Problem, pairs: Pairs, posterior: FloatArray) -> Pairs:
    """The pairs that are not negligible."""
    keep = peak(posterior)[:, 0] > NEGLIGIBLE
    return make_pairs(problem, pairs.sheet[keep], pairs.hypothesis[keep])


def table_shares(problem: Problem, pairs: Pairs, posterior: FloatArray) -> FloatArray:
    """(V,) shares of units by table, with one unit of prior for each."""
    by_sheet = np.zeros((problem.sheets, posterior.shape[1]))
    np.add.at(by_sheet, pairs.sheet, posterior)
    counts = np.zeros((problem.units, posterior.shape[1]))
    counts[problem.unit] = by_sheet
    share = counts.sum(axis=0) + 1
    return np.asarray(share / share.sum())


def pattern_beliefs(problem: Problem, state: State) -> FloatArray:
    """(U, V, sources, A) what the pattern shows each unit, by all others (by all units in joint.py)."""
    if state.final is not None:
        belief = np.repeat(state.final[None], problem.units, axis=0)
    else:
        belief = place_beliefs(state.messages, state.prior, state.differs)
    return source_beliefs(problem, belief, state.prior, deviating=False)


def final_beliefs(state: State) -> FloatArray:
    """(V, Q, A) belief of each place of each table, all units together."""
    if state.final is not None:
        return state.final
    return place_beliefs(state.messages, state.prior, state.differs, apart=False)[0]


def places_of(source: IntArray) -> IntArray:
    """Place index of each source; negative for constants."""
    return source - CONSTANTS
