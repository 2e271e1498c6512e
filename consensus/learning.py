"""Slip rates and habits of contributors, learned across designs into a reliability snapshot.

Expectation-maximisation over designs: propagation under the present rates gives for each reading the
chance that its contact was open; the counts make Beta posteriors whose common prior is itself fitted to
all contributors by moments (empirical Bayes), so that priors give way where readers err by a third.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.common_offset import with_offsets
from consensus.contacts import CLOSED, FIRST_LEVEL, LEAK, OPEN
from consensus.counts import Counts, add_counts, snapshot
from consensus.encoding import Encoded, encode
from consensus.hypotheses import CONSTANTS
from consensus.inference import Pairs, entry_likelihoods
from consensus.joint import told_by_others
from consensus.meter_habits import closed_figures
from consensus.problem import Problem, make_problem
from consensus.propagation import State
from consensus.readings import DesignReadings
from consensus.reliability import MISTAKES, Reliability
from consensus.settings import Settings
from consensus.thin import is_thin, row_places, thin_beliefs
from consensus.together import alike_designs, propagate_all

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FEWEST_ROUNDS, MOST_ROUNDS = 2, 40
STILL = 0.0006  # mean change of the slip rates below which learning ends
SHEETS_ENOUGH = 30  # sheets of one contributor after which further designs of theirs are not needed
NEVER = -1e3  # log prior of what learning leaves out
LEAST_PAIRS = 0.01  # pairs less likely than that are not counted


def learn(
    designs: Sequence[DesignReadings],
    settings: Settings,
    progress: Callable[[int, int], None] | None = None,
    mapper: Callable[..., Iterable[Any]] = map,
) -> Reliability:
    """A snapshot from designs; deterministic, linear in readings.  mapper: like the builtin map, in order."""
    chosen = enough_designs(designs)
    groups = alike_designs(chosen)
    reliability = Reliability.from_settings(settings)
    for turn in range(MOST_ROUNDS):
        total = Counts()
        work = (([chosen[at] for at in group], reliability, settings) for group in groups)
        for done, counts in enumerate(mapper(count_designs, work)):
            add_counts(total, counts)
            if progress is not None and turn < FEWEST_ROUNDS:
                progress(turn * len(groups) + done + 1, FEWEST_ROUNDS * len(groups))
        before, reliability = reliability, snapshot(total, settings)
        if turn + 1 >= FEWEST_ROUNDS and moved(before, reliability, total) < STILL:
            break
    return reliability


def moved(before: Reliability, after: Reliability, counts: Counts) -> float:
    """Mean change of the contributors' slip rates, weighted by their readings."""
    change = weight = 0.0
    for name in counts.miss:
        old, new = before.of(name), after.of(name)
        contacts, opens = float(counts.miss[name][1]), float(counts.invent[name][1])
        change += contacts * abs(new.miss_rate - old.miss_rate) + opens * abs(
            new.invent_rate - old.invent_rate
        )
        weight += contacts + opens
    return change / max(weight, 1e-9)


def enough_designs(designs: Sequence[DesignReadings]) -> list[DesignReadings]:
    """Designs, in order, with a contributor of whom not enough sheets were seen yet."""
    seen: dict[str, int] = defaultdict(int)
    chosen = []
    for design in designs:
        names = [sheet.contributor for sheet in design.sheets if sheet.counts]
        if any(seen[name] < SHEETS_ENOUGH for name in names):
            chosen.append(design)
            for name in names:
                seen[name] += 1
    return chosen


def count_designs(work: tuple[Sequence[DesignReadings], Reliability, Settings]) -> Counts:
    """Expected counts of some designs under a snapshot."""
    designs, reliability, settings = work
    encoded = [with_offsets(encode(design, settings), settings) for design in designs]
    problems = [explained_sheets(make_problem(one, reliability, settings)) for one in encoded]
    dense = [at for at, problem in enumerate(problems) if not is_thin(problem)]
    states = dict(zip(dense, propagate_all([problems[at] for at in dense], crossed=False), strict=True))
    total = Counts()
    for at, (one, problem) in enumerate(zip(encoded, problems, strict=True)):
        add_counts(total, count_design(one, problem, states.get(at)))
    return total


def explained_sheets(problem: Problem) -> Problem:
    """Without "unexplained": a reader who errs by a third would be given up before the rates tell so."""
    log_mistake = problem.log_mistake.copy()
    log_mistake[:, -1] = NEVER
    return replace(problem, log_mistake=log_mistake)


def count_design(encoded: Encoded, problem: Problem, state: State | None) -> Counts:
    """Expected counts of one design from its propagated state, None where it is thin."""
    counts = Counts()
    names = encoded.contributor_names
    who = encoded.contributor[encoded.sheet_order]
    if state is None:
        after = thin_beliefs(problem)[1] * problem.like
        after /= after.sum(axis=1, keepdims=True)
        for name in names:
            counts.sheets[name] += 0.0
        real = np.flatnonzero(row_places(problem) >= 0)
        row = problem.row[real]
        shown = encoded.code[row]
        everything = (shown != encoded.alphabet.censored_code).astype(np.float64)
        people = who[problem.sheet[real]]
        _count_slips(counts, names, people, shown, encoded.missed[row], after[real], everything)
        return counts
    told = told_of(problem, state)
    _count_sheets(counts, problem, told, who, names)
    _count_readings(counts, problem, told, who, names, encoded)
    leads, repeats = closed_figures(encoded, problem, state, who, len(names))
    for at, name in enumerate(names):
        counts.leads[name] += leads[at]
        counts.repeats[name] += repeats[at]
    return counts


@dataclass(frozen=True)
class Told:
    """What is counted: pairs with their posterior (P, V), and what others say of the places, beliefs
    (rows, V, sources, A) of which `row` (P,) is each pair's."""

    pairs: Pairs
    posterior: FloatArray
    beliefs: FloatArray
    row: IntArray


def told_of(problem: Problem, state: State) -> Told:
    if state.joint is None:
        return Told(state.pairs, state.posterior, state.beliefs, problem.unit[state.pairs.sheet])
    pairs, weight, sources = told_by_others(problem, state, state.joint)
    return Told(pairs, weight[:, None], sources[:, None], np.arange(len(pairs)))


def _count_sheets(
    counts: Counts, problem: Problem, told: Told, who: IntArray, names: tuple[str, ...]
) -> None:
    """Sheets and mistakes by contributor, faults by unit; sheets of few readings tell nothing of either."""
    pairs, weight = told.pairs, told.posterior.sum(axis=1)
    heavy = ~problem.light
    by_person = np.bincount(who, heavy, len(names))
    kinds = [mistake.kind for mistake in problem.hypotheses.mistakes]
    column = np.array([MISTAKES.index(kind) if kind in MISTAKES else len(MISTAKES) for kind in kinds])
    key = who[pairs.sheet] * (len(MISTAKES) + 1) + column[pairs.hypothesis % problem.mistakes]
    weight = weight * heavy[pairs.sheet]
    found = np.bincount(key, weight, len(names) * (len(MISTAKES) + 1)).reshape(len(names), -1)
    for at, name in enumerate(names):
        counts.sheets[name] += float(by_person[at])
        counts.mistakes[name] += found[at, : len(MISTAKES)]
    faulty = weight[pairs.hypothesis >= problem.mistakes].sum()
    counts.faults += (faulty, heavy.sum())


def _count_readings(
    counts: Counts,
    problem: Problem,
    told: Told,
    who: IntArray,
    names: tuple[str, ...],
    encoded: Encoded,
) -> None:
    """Missed and invented contacts by contributor, leaks and dirty contacts overall."""
    pairs, beliefs = told.pairs, told.beliefs
    like = entry_likelihoods(problem, pairs)
    row = told.row[pairs.pair]
    plain = (pairs.source >= CONSTANTS) & (pairs.source < beliefs.shape[2])
    people = who[pairs.sheet][pairs.pair]
    readings = problem.row[pairs.row]
    shown, missed = encoded.code[readings], encoded.missed[readings]
    for table in range(beliefs.shape[1]):
        chance = told.posterior[pairs.pair, table]
        at = np.flatnonzero(plain & (chance > LEAST_PAIRS))
        after = beliefs[row[at], table, pairs.source[at]] * like[at]
        after /= after.sum(axis=1, keepdims=True)
        sound = shown[at] != problem.alphabet.censored_code  # a poor meter's limit tells of no slip
        _count_slips(counts, names, people[at], shown[at], missed[at], after, chance[at] * sound)


def _count_slips(
    counts: Counts,
    names: tuple[str, ...],
    person: IntArray,
    shown: IntArray,
    missed: FloatArray,
    after: FloatArray,
    chance: FloatArray,
) -> None:
    """Add readings: who read, the code, the share of sweeps that show an open contact, the (n, A) belief
    behind it, and the weight of each."""
    size = len(names)
    is_open, contact = after[:, OPEN] * chance, (1 - after[:, OPEN]) * chance
    columns = (contact * missed, contact, is_open * (1 - missed), is_open)
    table = np.stack([np.bincount(person, column, size) for column in columns], axis=1)
    for number, name in enumerate(names):
        counts.miss[name] += table[number, :2]
        counts.invent[name] += table[number, 2:]
    counts.leaks += ((is_open * missed * (shown == LEAK)).sum(), (is_open * missed).sum())
    closed = after[:, CLOSED] * chance * (1 - missed)
    odd_code = FIRST_LEVEL + after.shape[1] - 3
    figure = (shown >= FIRST_LEVEL) & (shown <= odd_code)  # sweeps that contradict each other are no dirt
    counts.dirty += ((closed * figure).sum(), closed.sum())
