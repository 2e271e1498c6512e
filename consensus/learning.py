"""Slip rates and habits of contributors, learned across designs into a reliability snapshot.

Expectation-maximisation over designs: propagation under the present rates gives for each reading the
chance that its contact was open; the counts make Beta posteriors whose common prior is itself fitted to
all contributors by moments (empirical Bayes), so that priors give way where readers err by a third.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.common_offset import with_offsets
from consensus.contacts import CLOSED, FIRST_LEVEL, LEAK, OPEN, OVER_LIMIT
from consensus.encoding import Encoded, encode
from consensus.hypotheses import CONSTANTS
from consensus.inference import entry_likelihoods
from consensus.meter_habits import closed_figures, leads_excess, mandel_figures
from consensus.problem import Problem, make_problem
from consensus.propagation import State
from consensus.readings import DesignReadings
from consensus.reliability import MISTAKES, ContributorReliability, Reliability
from consensus.settings import Settings
from consensus.thin import is_thin, row_places, thin_beliefs
from consensus.together import alike_designs, propagate_all

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FEWEST_ROUNDS, MOST_ROUNDS = 2, 40
STILL = 0.0006  # mean change of the slip rates below which learning ends
MEAN_WEIGHT = 200.0  # readings that the documented mean slip rates are worth
LEAST_WEIGHT, MOST_WEIGHT = 2.0, 200.0  # readings that the population is worth against a contributor's own
SHEETS_ENOUGH = 30  # sheets of one contributor after which further designs of theirs are not needed
NEVER = -1e3  # log prior of what learning leaves out
LEAST_PAIRS = 0.01  # pairs less likely than that are not counted


def _two() -> FloatArray:
    return np.zeros(2)


def _by_mistake() -> FloatArray:
    return np.zeros(len(MISTAKES))


@dataclass
class Counts:
    """Expected counts, by contributor: (missed, contacts), (invented, opens), sheets and mistakes, (excess Ω,
    closed figures), (squares, degrees of freedom) within repeated ones; overall leaks of opens, dirty ones of
    closed, units and faults.  Of coordinated blocks: (sheets in them, sheets in designs that have one) by
    contributor, (designs that have one, designs)."""

    miss: dict[str, FloatArray] = field(default_factory=lambda: defaultdict(_two))
    invent: dict[str, FloatArray] = field(default_factory=lambda: defaultdict(_two))
    sheets: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    mistakes: dict[str, FloatArray] = field(default_factory=lambda: defaultdict(_by_mistake))
    leads: dict[str, FloatArray] = field(default_factory=lambda: defaultdict(_two))
    repeats: dict[str, FloatArray] = field(default_factory=lambda: defaultdict(_two))
    leaks: FloatArray = field(default_factory=_two)
    dirty: FloatArray = field(default_factory=_two)
    faults: FloatArray = field(default_factory=_two)
    blocks: dict[str, FloatArray] = field(default_factory=lambda: defaultdict(_two))
    designs: FloatArray = field(default_factory=_two)


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
        shown = encoded.code[problem.row[real]]
        everything = (shown != encoded.alphabet.censored_code).astype(np.float64)
        _count_slips(counts, names, who[problem.sheet[real]], shown, after[real], everything)
        return counts
    _count_sheets(counts, problem, state, who, names)
    _count_readings(counts, problem, state, who, names, encoded.code)
    leads, repeats = closed_figures(encoded, problem, state, who, len(names))
    for at, name in enumerate(names):
        counts.leads[name] += leads[at]
        counts.repeats[name] += repeats[at]
    return counts


def _count_sheets(
    counts: Counts, problem: Problem, state: State, who: IntArray, names: tuple[str, ...]
) -> None:
    """Sheets and mistakes by contributor, faults by unit; sheets of few readings tell nothing of either."""
    pairs, weight = state.pairs, state.posterior.sum(axis=1)
    told = ~problem.light
    by_person = np.bincount(who, told, len(names))
    kinds = [mistake.kind for mistake in problem.hypotheses.mistakes]
    column = np.array([MISTAKES.index(kind) if kind in MISTAKES else len(MISTAKES) for kind in kinds])
    key = who[pairs.sheet] * (len(MISTAKES) + 1) + column[pairs.hypothesis % problem.mistakes]
    weight = weight * told[pairs.sheet]
    found = np.bincount(key, weight, len(names) * (len(MISTAKES) + 1)).reshape(len(names), -1)
    for at, name in enumerate(names):
        counts.sheets[name] += float(by_person[at])
        counts.mistakes[name] += found[at, : len(MISTAKES)]
    faulty = weight[pairs.hypothesis >= problem.mistakes].sum()
    counts.faults += (faulty, told.sum())


def _count_readings(
    counts: Counts,
    problem: Problem,
    state: State,
    who: IntArray,
    names: tuple[str, ...],
    code: IntArray,
) -> None:
    """Missed and invented contacts by contributor, leaks and dirty contacts overall."""
    pairs, beliefs = state.pairs, state.beliefs
    like = entry_likelihoods(problem, pairs)
    unit = problem.unit[pairs.sheet][pairs.pair]
    plain = (pairs.source >= CONSTANTS) & (pairs.source < beliefs.shape[2])
    people = who[pairs.sheet][pairs.pair]
    shown = code[problem.row[pairs.row]]
    for table in range(beliefs.shape[1]):
        chance = state.posterior[pairs.pair, table]
        at = np.flatnonzero(plain & (chance > LEAST_PAIRS))
        after = beliefs[unit[at], table, pairs.source[at]] * like[at]
        after /= after.sum(axis=1, keepdims=True)
        told = shown[at] != problem.alphabet.censored_code  # a poor meter's limit tells of no slip
        _count_slips(counts, names, people[at], shown[at], after, chance[at] * told)


def _count_slips(
    counts: Counts,
    names: tuple[str, ...],
    person: IntArray,
    shown: IntArray,
    after: FloatArray,
    chance: FloatArray,
) -> None:
    """Add readings: who read, the code, the (n, A) belief behind it, and the weight of each."""
    size = len(names)
    is_open, contact = after[:, OPEN] * chance, (1 - after[:, OPEN]) * chance
    missed = (shown == OVER_LIMIT) | (shown == LEAK)
    columns = (contact * missed, contact, is_open * ~missed, is_open)
    table = np.stack([np.bincount(person, column, size) for column in columns], axis=1)
    for number, name in enumerate(names):
        counts.miss[name] += table[number, :2]
        counts.invent[name] += table[number, 2:]
    counts.leaks += ((is_open * (shown == LEAK)).sum(), (is_open * missed).sum())
    closed = after[:, CLOSED] * chance * ~missed
    counts.dirty += ((closed * (shown >= FIRST_LEVEL)).sum(), closed.sum())


def add_counts(total: Counts, more: Counts) -> None:
    """Add `more` to `total`."""
    for name in more.sheets:
        total.sheets[name] += more.sheets[name]
        total.mistakes[name] += more.mistakes[name]
    for name in more.miss:
        total.miss[name] += more.miss[name]
        total.invent[name] += more.invent[name]
    for name in more.leads:
        total.leads[name] += more.leads[name]
        total.repeats[name] += more.repeats[name]
    total.leaks += more.leaks
    total.dirty += more.dirty
    total.faults += more.faults
    total.designs += more.designs
    for name in more.blocks:
        total.blocks[name] += more.blocks[name]


def population(counts: dict[str, FloatArray], rate: float, settings: Settings) -> tuple[float, float]:
    """Beta (a, b) of a slip rate over contributors: mean and weight by moments, drawn towards the settings.

    The weight follows from the spread of the contributors' own shares beyond what chance makes of one
    share (Kleinman 1973, J. Am. Stat. Assoc. 68:46-54).
    """
    table = np.array(list(counts.values())) if counts else np.zeros((0, 2))
    table = table[table[:, 1] > 0]
    hits, of = table[:, 0], table[:, 1]
    mean = (hits.sum() + rate * MEAN_WEIGHT) / (of.sum() + MEAN_WEIGHT)
    weight = settings.slip_strength
    if len(table) > 2:
        excess = (of * (hits / of - mean) ** 2).sum() - (len(table) - 1) * mean * (1 - mean)
        scale = of.sum() - (of**2).sum() / of.sum()
        between = max(excess / max(scale, 1e-9), 1e-9)
        fitted = float(np.clip(mean * (1 - mean) / between - 1, LEAST_WEIGHT, MOST_WEIGHT))
        trust = len(table) / (len(table) + 5)
        weight = float(np.exp(trust * np.log(fitted) + (1 - trust) * np.log(weight)))
    return float(mean * weight), float((1 - mean) * weight)


def snapshot(counts: Counts, settings: Settings) -> Reliability:
    """Posterior of rates and habits from expected counts."""
    prior = Reliability.from_settings(settings)
    miss = population(counts.miss, settings.miss_rate, settings)
    invent = population(counts.invent, settings.invent_rate, settings)
    strength = settings.mistake_strength
    sheets = sum(counts.sheets.values())
    mistakes = sum(counts.mistakes.values(), np.zeros(len(MISTAKES)))
    rates = dict(prior.mistakes)
    shares = [
        (rates[kind] * strength + mistakes[at]) / (strength + sheets) for at, kind in enumerate(MISTAKES)
    ]
    beside_others = mandel_figures(counts.leads, counts.repeats)
    contributors = {
        name: ContributorReliability(
            miss=_beta(miss, counts.miss[name]),
            invent=_beta(invent, counts.invent[name]),
            sheets=counts.sheets[name],
            mistakes=tuple(zip(MISTAKES, (float(x) for x in counts.mistakes[name]), strict=True)),
            leads_ohm=leads_excess(*(float(x) for x in counts.leads[name])),
            mandel=beside_others.get(name),
            made_up=_made_up(counts, name, settings),
            made_up_within=_made_up_within(counts, name, settings),
        )
        for name in sorted(counts.sheets)
    }
    return Reliability(
        miss=miss,
        invent=invent,
        mistakes=tuple(zip(MISTAKES, (float(share) for share in shares), strict=True)),
        fault_rate=_share(counts.faults, settings.fault_rate, strength),
        leak=_share(counts.leaks, settings.leak_rate, 100.0),
        dirty=_share(counts.dirty, settings.dirty_rate, 300.0),
        contributors=contributors,
        block_rate=_share(counts.designs, settings.block_rate, settings.block_designs),
    )


def _made_up(counts: Counts, name: str, settings: Settings) -> float:
    """Share of a contributor's sheets that are of blocks."""
    return float(counts.blocks[name][0] / (counts.sheets[name] + settings.block_strength))


def _made_up_within(counts: Counts, name: str, settings: Settings) -> float:
    """The same of the sheets in designs that have one."""
    weight, (mine, exposed) = settings.block_strength, counts.blocks[name]
    return float((mine + settings.block_within * weight) / (exposed + weight))


def _beta(prior: tuple[float, float], counts: FloatArray) -> tuple[float, float]:
    return float(prior[0] + counts[0]), float(prior[1] + max(counts[1] - counts[0], 0.0))


def _share(counts: FloatArray, rate: float, weight: float) -> float:
    return float((counts[0] + rate * weight) / (counts[1] + weight))
