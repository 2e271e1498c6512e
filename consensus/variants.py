"""How many tables a design has: variants and coherent blocks, by evidence.

Tables are added one at a time.  A seed is a unit that the present tables explain badly: its readings make
a trial table, the other units are weighed against it, and the most promising trials are propagated to the
end.  A table is kept if the log evidence of the design grows by more than `Settings.variant_evidence`
and at least two units stand behind it.  What may be published is decided afterwards (coordination.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.inference import Pairs, Problem, source_beliefs
from consensus.joint import explain_jointly
from consensus.propagation import State, judge, propagate
from consensus.tables import log_tables, place_beliefs

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_TABLES = 4
SEEDS_WEIGHED = 12  # units tried as seeds of a further table, worst explained first
SEEDS_RUN = 3  # of these, propagated to the end
GATHERINGS = 4  # rounds in which units join a seed's table
FEWEST_UNITS = 1.7  # expected units behind a further table
LACK_OF_SEED = 6.0  # nats that a unit must lack to be a seed


@dataclass(frozen=True)
class Tables:
    """A propagated state with V tables, largest first.  unit_table: (U, V) posterior; evidence: log."""

    state: State
    unit_table: FloatArray
    evidence: float


def log_evidence(problem: Problem, state: State) -> float:
    """Bethe log evidence: of the units given their cavities, and of the places given all messages.

    Messages are normalised so that each edge contributes nothing (inference.py)."""
    return float(state.log_unit.sum()) + log_tables(state.messages, state.prior, state.differs)


def unit_tables(problem: Problem, pairs: Pairs, posterior: FloatArray) -> FloatArray:
    """(U, V) posterior table of each unit."""
    by_sheet = np.zeros((problem.sheets, posterior.shape[1]))
    np.add.at(by_sheet, pairs.sheet, posterior)
    found = np.zeros((problem.units, posterior.shape[1]))
    found[problem.unit] = by_sheet
    return found


def as_tables(problem: Problem, state: State) -> Tables:
    return Tables(state, unit_tables(problem, state.pairs, state.posterior), log_evidence(problem, state))


def find_tables(problem: Problem) -> Tables:
    """The tables of a design; one where nothing speaks for more."""
    state = propagate(problem)
    if problem.units <= problem.settings.joint_units:
        return as_tables(problem, explain_jointly(problem, state))
    best = as_tables(problem, state)
    while best.unit_table.shape[1] < min(MOST_TABLES, problem.units):
        grown = add_table(problem, best)
        if grown is None:
            break
        best = grown
    return largest_first(problem, best)


def add_table(problem: Problem, present: Tables) -> Tables | None:
    """The best state with one table more, or None if nothing is gained."""
    trials = promising_seeds(problem, present)
    found = None
    for messages, share in trials:
        grown = as_tables(problem, propagate(problem, messages, share))
        if not enough_units(problem, grown):
            continue
        if found is None or grown.evidence > found.evidence:
            found = grown
    if found is None or found.evidence < present.evidence + problem.settings.variant_evidence:
        return None
    return found


def enough_units(problem: Problem, tables: Tables) -> bool:
    """Whether each table has units behind it."""
    return bool((tables.unit_table.sum(axis=0) >= FEWEST_UNITS).all())


def promising_seeds(problem: Problem, present: Tables) -> list[tuple[FloatArray, FloatArray]]:
    """(messages, shares) to start from, by the evidence that a seed's table brings to those who join it."""
    state = present.state
    lack = unit_lack(problem, state)
    order = np.argsort(-lack, kind="stable")[:SEEDS_WEIGHED]
    order = order[lack[order] > LACK_OF_SEED]
    if len(order) < 2:
        return []
    trials: dict[bytes, tuple[float, BoolArray]] = {}
    for seed in order:
        joined, gain = gather(problem, state, int(seed), order)
        if joined.sum() > 1 and gain > problem.settings.variant_evidence:
            trials.setdefault(joined.tobytes(), (gain, joined))
    best = sorted(trials.values(), key=lambda trial: -trial[0])[:SEEDS_RUN]
    return [
        (seeded_messages(state.messages, np.flatnonzero(joined)), _shares(state, joined))
        for _, joined in best
    ]


def gather(problem: Problem, state: State, seed: int, candidates: IntArray) -> tuple[BoolArray, float]:
    """(U,) units that join the table of a seed, and what they gain: first the seed's best partner among the
    badly explained, then whoever gains, a few times over."""
    joined = np.zeros(problem.units, dtype=bool)
    joined[seed] = True
    total = 0.0
    for turn in range(GATHERINGS):
        gain = table_gains(problem, state, joined)
        total = float(gain[joined].sum())
        again = gain > 0
        again[seed] = True
        if turn == 0:
            others = candidates[candidates != seed]
            again[others[np.argmax(gain[others])]] = True
        if (again == joined).all():
            break
        joined = again
    return joined, total


def table_gains(problem: Problem, state: State, joined: BoolArray) -> FloatArray:
    """(U,) nats that each unit gains by a further table made of those who joined."""
    messages = seeded_messages(state.messages, np.flatnonzero(joined))
    differs = np.append(state.differs, problem.settings.variant_differs)
    belief = place_beliefs(messages, state.prior, differs)
    beliefs = source_beliefs(problem, belief, state.prior)
    fit, _, log_unit = judge(problem, state.pairs, beliefs, np.append(np.zeros(len(state.share)), 1.0))
    share = _shares(state, joined)
    return np.asarray(log_unit + np.log(share[-1]) - state.log_unit)


def _shares(state: State, joined: BoolArray) -> FloatArray:
    mine = min(max(float(joined.mean()), 0.05), 0.6)
    return np.append(state.share * (1 - mine), mine)


def unit_lack(problem: Problem, state: State) -> FloatArray:
    """(U,) nats by which each unit falls short of an ideal explanation."""
    ideal = np.bincount(problem.sheet, np.log(problem.like.max(axis=1)), problem.sheets)
    return np.bincount(problem.unit, ideal, problem.units) - state.log_unit


def seeded_messages(messages: FloatArray, units: IntArray) -> FloatArray:
    """Messages (U, V + 1, Q, A) where the given units speak of the new table only."""
    said = messages.sum(axis=1)
    grown = np.concatenate([messages, np.zeros_like(messages[:, :1])], axis=1)
    grown[units] = 0.0
    grown[units, -1] = said[units]
    return grown


def largest_first(problem: Problem, tables: Tables) -> Tables:
    """Tables by expected units, largest first (the star's centre included)."""
    order = np.argsort(-tables.unit_table.sum(axis=0), kind="stable")
    if (order == np.arange(len(order))).all():
        return tables
    state = tables.state
    moved = State(
        messages=state.messages[:, order],
        share=state.share[order],
        prior=state.prior,
        differs=state.differs[order[order > 0] - 1],
        pairs=state.pairs,
        fit=state.fit[:, order],
        posterior=state.posterior[:, order],
        log_unit=state.log_unit,
        beliefs=state.beliefs[:, order],
        rounds=state.rounds,
    )
    return Tables(moved, tables.unit_table[:, order], tables.evidence)
