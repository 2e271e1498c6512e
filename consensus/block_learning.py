"""Which accounts make up units, learned across designs on top of the slip rates (learning.py, blocks.py).

Rounds with as many tables as each design has.  In the first of them blocks are taken as common:
whose units stand apart in design after design shows soon, and designs in which none does are counted once,
those of a few units twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.blocks import SUSPECT
from consensus.common_offset import with_offsets
from consensus.counts import Counts, add_counts, snapshot
from consensus.encoding import encode
from consensus.learning import count_design, enough_designs, explained_sheets
from consensus.problem import Problem, make_problem
from consensus.readings import DesignReadings
from consensus.reliability import ContributorReliability, Reliability
from consensus.settings import Settings
from consensus.thin import is_thin
from consensus.together import alike_designs, run_together
from consensus.variants import Tables, finding_tables

IntArray = NDArray[np.int64]

BLOCK_ROUNDS, BLOCKS_STILL = 7, 0.01  # rounds at most; share of designs that still change
EAGER_ROUNDS, BLOCKS_AT_FIRST = 3, 0.9  # rounds in which blocks are taken as common, and their share then
SLIGHTLY = 0.02  # chance of a block below which a design is not looked at again


def learn_blocks(
    designs: Sequence[DesignReadings],
    reliability: Reliability,
    settings: Settings,
    mapper: Callable[..., Iterable[Any]] = map,
) -> Reliability:
    """`reliability` with the accounts' shares in blocks, and slips told against the table a unit is of."""
    chosen = enough_designs(designs)
    reliability = replace(reliability, block_rate=BLOCKS_AT_FIRST, contributors=usual_slips(reliability))
    told: dict[int, Counts] = {}
    again = list(range(len(chosen)))
    for turn in range(BLOCK_ROUNDS):
        before = sum(float(counts.designs[0]) for counts in told.values())
        groups = [[again[at] for at in group] for group in alike_designs([chosen[at] for at in again])]
        work = (([chosen[at] for at in group], reliability, settings) for group in groups)
        for group, found in zip(groups, mapper(count_tables, work), strict=True):
            told.update(zip(group, found, strict=True))
        total = Counts()
        for at in range(len(chosen)):
            add_counts(total, told[at])
        reliability = snapshot(total, settings)
        again = [
            at
            for at, one in enumerate(chosen)
            if may_have_block(one, told[at], reliability) or (turn == 0 and has_few_units(one, settings))
        ]
        if not again:
            break
        if turn + 1 < EAGER_ROUNDS:
            reliability = replace(reliability, block_rate=BLOCKS_AT_FIRST)
        elif abs(float(total.designs[0]) - before) < BLOCKS_STILL * len(chosen):
            break
    return reliability


def usual_slips(reliability: Reliability) -> dict[str, ContributorReliability]:
    """Everybody with the population's slip rates: those of accounts that made up units were learned against
    the pattern, so that what they made up would pass for slips of theirs."""
    return {
        name: replace(one, miss=reliability.miss, invent=reliability.invent)
        for name, one in reliability.contributors.items()
    }


def has_few_units(design: DesignReadings, settings: Settings) -> bool:
    """Whether its sheets are explained jointly, where one's slips and another's mistake are one question: it
    is asked once more with everybody's own slip rates."""
    return len({sheet.unit for sheet in design.sheets if sheet.counts}) <= settings.joint_units


def may_have_block(design: DesignReadings, counts: Counts, reliability: Reliability) -> bool:
    """Whether a design is worth another round: something stands apart, or a suspect account took part."""
    return bool(counts.designs[0] > SLIGHTLY) or any(
        reliability.of(sheet.contributor).made_up > SUSPECT for sheet in design.sheets
    )


def count_tables(work: tuple[Sequence[DesignReadings], Reliability, Settings]) -> list[Counts]:
    """Expected counts of each of some designs with all its tables, under a snapshot."""
    designs, reliability, settings = work
    encoded = [with_offsets(encode(design, settings), settings) for design in designs]
    problems = [explained_sheets(make_problem(one, reliability, settings)) for one in encoded]
    dense = [at for at, problem in enumerate(problems) if not is_thin(problem)]
    told = dict(zip(dense, run_together([finding_tables(problems[at]) for at in dense]), strict=True))
    found = []
    for at, (one, problem) in enumerate(zip(encoded, problems, strict=True)):
        if at not in told:
            found.append(count_design(one, problem, None))
            continue
        tables = told[at]
        counts = count_design(one, problem, tables.state)
        count_blocks(counts, problem, tables, one.contributor[one.sheet_order], one.contributor_names)
        found.append(counts)
    return found


def count_blocks(
    counts: Counts, problem: Problem, tables: Tables, who: IntArray, names: tuple[str, ...]
) -> None:
    """Sheets of coordinated blocks by contributor, and whether the design has one."""
    chance = tables.made_up(problem)
    told = (~problem.light).astype(np.float64)
    mine = np.bincount(who, (tables.unit_table @ chance)[problem.unit] * told, len(names))
    exposed = np.bincount(who, chance.sum() * told, len(names))
    for at, name in enumerate(names):
        counts.blocks[name] += (mine[at], exposed[at])
    counts.designs += (chance.sum(), 1.0)
