"""Rounds of several designs at once.

A design of twenty sheets is so small that calling numpy costs more than its sums.  Designs of the same shape
without resistive levels have the same hypotheses and symbols, so that their sheets stand in the same arrays;
only the places of each design, its shares and what follows from a round are its own.  So it is with several
trials of one design.  The figures are those of `propagation.go_round`, but for the last bits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.blocks import log_table_priors
from consensus.inference import Pairs, source_beliefs, weigh
from consensus.messages import unit_messages
from consensus.problem import Problem
from consensus.propagation import State, go_round, propagating, shares_of_states
from consensus.readings import DesignReadings
from consensus.steps import Result, Round, Steps, side_by_side
from consensus.table_pairs import fits
from consensus.tables import beliefs_of, shares_that_differ

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

MOST_DESIGNS = 24  # handed on together, so that enough of them are of one shape
MOST_ENTRIES = (
    40_000  # of pairs and tables that one round takes; more no longer stay in the processor's cache
)
MOST_READINGS = 3000  # a larger design stands alone
PLAIN_SYMBOLS = 3  # open, closed, odd: no resistive level
MOST_KEPT = 16  # joined problems kept for their next round


def alike_designs(designs: Sequence[DesignReadings]) -> list[list[int]]:
    """Indices of the designs in groups that may be propagated together, in order of their first one."""
    open_groups: dict[tuple[object, ...], list[int]] = {}
    groups = []
    for at, design in enumerate(designs):
        small = len(design.readings) <= MOST_READINGS
        key = (len(design.positions), len(design.pins), design.common, at if not small else -1)
        group = open_groups.get(key)
        if group is None or len(group) == MOST_DESIGNS:
            group = open_groups[key] = []
            groups.append(group)
        group.append(at)
    return groups


def propagate_all(problems: Sequence[Problem], crossed: bool = True) -> list[State]:
    """`propagate` of each problem."""
    return run_together([propagating(problem, crossed=crossed) for problem in problems])


def run_together(several: Sequence[Steps[Result]]) -> list[Result]:
    """The results of steps that don't depend on each other; rounds that are alike are run as one."""
    kept: dict[tuple[int, ...], Joined] = {}
    steps = side_by_side(several)
    try:
        wanted = next(steps)
        while True:
            wanted = steps.send(_states(wanted, kept))
    except StopIteration as end:
        results: list[Result] = end.value
        return results


def _states(wanted: Sequence[Round], kept: dict[tuple[int, ...], Joined]) -> list[State]:
    """The states after the rounds, in their order."""
    alike: dict[tuple[int, int], list[int]] = defaultdict(list)
    for at, one in enumerate(wanted):
        plain = one.problem.alphabet.size == PLAIN_SYMBOLS
        alike[id(one.problem.hypotheses if plain else one.problem), len(one.state.share)].append(at)
    found: dict[int, State] = {}
    for group in alike.values():
        for some in _portions(group, wanted):
            rounds = [wanted[at] for at in some]
            if len(rounds) == 1:
                found[some[0]] = go_round(rounds[0].problem, rounds[0].state, rounds[0].pairs)
                continue
            parts = tuple(one.problem for one in rounds)
            key = tuple(map(id, parts))
            if key not in kept:
                while len(kept) >= MOST_KEPT:
                    kept.pop(next(iter(kept)))
                kept[key] = join_problems(parts)
            found |= zip(some, _round(kept[key], rounds), strict=True)
    return [found[at] for at in range(len(wanted))]


def _portions(group: Sequence[int], wanted: Sequence[Round]) -> list[list[int]]:
    """Rounds in their order, so many at once that they stay in the cache."""
    portions: list[list[int]] = []
    entries = MOST_ENTRIES + 1
    for at in group:
        mine = len(wanted[at].pairs.pair) * len(wanted[at].state.share)
        if entries + mine > MOST_ENTRIES:
            portions.append([])
            entries = 0
        portions[-1].append(at)
        entries += mine
    return portions


@dataclass(frozen=True)
class Joined:
    """D problems as one.  design: (U,) problem of each unit; units, sheets, rows: (D,) first unit, sheet and
    reading of each."""

    problem: Problem
    parts: tuple[Problem, ...]
    design: IntArray
    units: IntArray
    sheets: IntArray
    rows: IntArray


def join_problems(parts: tuple[Problem, ...]) -> Joined:
    """Problems with the same hypotheses and alphabet, their sheets and units one after the other."""
    units, sheets = np.array([part.units for part in parts]), np.array([part.sheets for part in parts])
    rows = np.array([len(part.sheet) for part in parts])
    first_unit, first_sheet = np.cumsum(units) - units, np.cumsum(sheets) - sheets

    def together(name: str, first: IntArray | None = None) -> NDArray[Any]:
        arrays = [getattr(part, name) for part in parts]
        if first is not None:
            arrays = [array + start for array, start in zip(arrays, first, strict=True)]
        return np.concatenate(arrays)

    kept = ("cell", "row", "like", "shifted", "weight", "torn", "log_mistake", "offset", "shifted_code")
    columns = {name: together(name) for name in (*kept, "light", "strange", "bound")}
    problem = replace(
        parts[0],
        sheet=together("sheet", first_sheet),
        unit=together("unit", first_unit),
        units=int(units.sum()),
        **columns,  # type: ignore[arg-type]
    )
    design = np.repeat(np.arange(len(parts)), units)
    return Joined(problem, parts, design, first_unit, first_sheet, np.cumsum(rows) - rows)


def _join_pairs(joined: Joined, several: Sequence[Pairs]) -> Pairs:
    """The pairs of each problem, one after the other."""
    many = np.array([len(one) for one in several])
    entries = np.array([len(one.pair) for one in several])

    def together(name: str, first: IntArray, lengths: IntArray) -> IntArray:
        return np.concatenate([getattr(one, name) for one in several]) + np.repeat(first, lengths)

    return Pairs(
        sheet=together("sheet", joined.sheets, many),
        hypothesis=np.concatenate([one.hypothesis for one in several]),
        pair=together("pair", np.cumsum(many) - many, entries),
        row=together("row", joined.rows, entries),
        source=np.concatenate([one.source for one in several]),
    )


def _round(joined: Joined, rounds: Sequence[Round]) -> list[State]:
    """One round of all problems: cavities, posteriors, messages, and the shares of each."""
    problem, design = joined.problem, joined.design
    states = [one.state for one in rounds]
    pairs = _join_pairs(joined, [one.pairs for one in rounds])
    prior = np.stack([state.prior for state in states])
    share = np.stack([state.share for state in states])
    differs = np.stack([state.differs for state in states])
    messages = np.concatenate([state.messages for state in states])
    total = np.add.reduceat(messages, joined.units, axis=0)
    cavity = beliefs_of(total[design] - messages, prior[design], differs[design])
    beliefs = source_beliefs(problem, cavity, prior[design][:, None])
    fit = fits(problem, pairs, beliefs)
    posterior, log_unit = weigh(problem, pairs, fit, _log_tables(joined, states))
    messages = unit_messages(problem, pairs, posterior, beliefs)
    total = np.add.reduceat(messages, joined.units, axis=0)
    prior = shares_of_states(problem, total[:, 0], prior)
    if share.shape[1] > 1:
        differs = shares_that_differ(total, prior, differs, problem.settings)
        share = _table_shares(joined, pairs, posterior)
    found = []
    first_pair = 0
    for at, one in enumerate(rounds):
        part = slice(first_pair, first_pair + len(one.pairs))
        units = slice(joined.units[at], joined.units[at] + one.problem.units)
        first_pair = part.stop
        found.append(
            State(
                messages[units],
                share[at],
                prior[at],
                differs[at],
                one.pairs,
                fit[part],
                posterior[part],
                log_unit[units],
                beliefs[units],
                one.state.rounds + 1,
                block=one.state.block,
            )
        )
    return found


def _log_tables(joined: Joined, states: Sequence[State]) -> FloatArray:
    """(U, V) log prior of the tables for each unit."""
    tables = len(states[0].share)
    return np.concatenate(
        [
            np.broadcast_to(log_table_priors(part.accounts, state.share, state.block), (part.units, tables))
            for part, state in zip(joined.parts, states, strict=True)
        ]
    )


def _table_shares(joined: Joined, pairs: Pairs, posterior: FloatArray) -> FloatArray:
    """(D, V) shares of units by table of each problem; see `propagation.table_shares`."""
    problem = joined.problem
    counts = np.zeros((problem.units, posterior.shape[1]))
    counts[problem.unit] = np.stack(
        [np.bincount(pairs.sheet, column, problem.sheets) for column in posterior.T], axis=1
    )
    share = np.add.reduceat(counts, joined.units, axis=0) + 1
    return np.asarray(share / share.sum(axis=1, keepdims=True))
