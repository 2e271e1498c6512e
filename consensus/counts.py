"""What is counted of contributors across designs, and the reliability snapshot that follows from it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from consensus.meter_habits import leads_excess, mandel_figures
from consensus.reliability import MISTAKES, ContributorReliability, Reliability
from consensus.settings import Settings

FloatArray = NDArray[np.float64]

MEAN_WEIGHT = 200.0  # readings that the documented mean slip rates are worth
LEAST_WEIGHT, MOST_WEIGHT = 2.0, 200.0  # readings that the population is worth against a contributor's own


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
