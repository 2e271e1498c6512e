"""Propagation of several designs of one shape at once.

A design of twenty sheets is so small that calling numpy costs more than its sums.  Designs of the same shape
without resistive levels have the same hypotheses and symbols, so that their sheets stand in the same arrays;
only the places of each design, its state shares and the end of its rounds are its own.  The rounds are those
of `propagation.propagate`, and so are the figures, but for the last bits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.inference import Pairs, crossed_pairs, make_pairs, single_pairs, source_beliefs
from consensus.messages import unit_messages
from consensus.problem import Problem
from consensus.propagation import (
    CROSSED_FROM,
    DEAR_FROM,
    PRIOR_WEIGHT,
    State,
    active_pairs,
    first_prior,
    judge,
    lacking,
    leading,
    propagate,
    start_state,
)
from consensus.readings import DesignReadings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_DESIGNS = 24  # handed on together, so that enough of them are of one shape
MOST_TOGETHER = 8  # propagated together; more no longer stay in the processor's cache
MOST_READINGS = 3000  # a larger design stands alone
PLAIN_SYMBOLS = 3  # open, closed, odd: no resistive level


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
    """`propagate` of each problem; those of one shape and without levels together."""
    groups: dict[int, list[int]] = defaultdict(list)
    for at, problem in enumerate(problems):
        plain = problem.alphabet.size == PLAIN_SYMBOLS
        groups[id(problem.hypotheses) if plain else -1 - at].append(at)
    found: dict[int, State] = {}
    for group in groups.values():
        if len(group) == 1:
            found[group[0]] = propagate(problems[group[0]], crossed=crossed)
            continue
        for start in range(0, len(group), MOST_TOGETHER):
            some = group[start : start + MOST_TOGETHER]
            found |= _propagate_group(join_problems([problems[at] for at in some], some), crossed)
    return [found[at] for at in range(len(problems))]


@dataclass(frozen=True)
class Joined:
    """D problems as one.  number: (D,) what each is called; design: (U,) problem of each unit; units, sheets:
    (D,) first unit and sheet of each."""

    problem: Problem
    parts: tuple[Problem, ...]
    number: tuple[int, ...]
    design: IntArray
    units: IntArray
    sheets: IntArray


def join_problems(parts: Sequence[Problem], number: Sequence[int]) -> Joined:
    """Problems with the same hypotheses and alphabet, their sheets and units one after the other."""
    units, sheets = np.array([part.units for part in parts]), np.array([part.sheets for part in parts])
    first_unit, first_sheet = np.cumsum(units) - units, np.cumsum(sheets) - sheets

    def together(name: str, first: IntArray | None = None) -> NDArray[Any]:
        arrays = [getattr(part, name) for part in parts]
        if first is not None:
            arrays = [array + start for array, start in zip(arrays, first, strict=True)]
        return np.concatenate(arrays)

    kept = ("cell", "row", "like", "shifted", "weight", "log_mistake", "offset", "shifted_code")
    columns = {name: together(name) for name in (*kept, "light", "strange", "bound")}
    problem = replace(
        parts[0],
        sheet=together("sheet", first_sheet),
        unit=together("unit", first_unit),
        units=int(units.sum()),
        **columns,  # type: ignore[arg-type]
    )
    design = np.repeat(np.arange(len(parts)), units)
    return Joined(problem, tuple(parts), tuple(number), design, first_unit, first_sheet)


def _propagate_group(joined: Joined, crossed: bool) -> dict[int, State]:
    """State of each problem by its number; see `propagation.propagate`."""
    problem = joined.problem
    state = start_state(problem)
    state = replace(state, prior=np.tile(state.prior, (len(joined.parts), 1)))
    state = _round(joined, state, single_pairs(problem, problem.strange))
    mistake = state.pairs.hypothesis % problem.mistakes
    fault = state.pairs.hypothesis // problem.mistakes
    prior = problem.log_mistake[state.pairs.sheet, mistake] + problem.log_fault[fault]
    dear = lacking(problem, state.pairs, state.fit + prior[:, None], state.posterior) > DEAR_FROM
    kept = active_pairs(problem, state.pairs, state.posterior)
    state = _round(joined, state, single_pairs(problem, dear | problem.strange, kept))
    badly = lacking(problem, state.pairs, state.fit, state.posterior) > CROSSED_FROM
    again = np.logical_or.reduceat(badly & ~problem.light, joined.sheets) & crossed
    found: dict[int, State] = {}
    if not again.all():
        found |= _settle(*_select(joined, state, ~again))
    if again.any():
        chosen = badly[again[_design_of_sheets(joined)]]
        joined, state = _select(joined, state, again)
        kept = active_pairs(joined.problem, state.pairs, state.posterior)
        pairs = crossed_pairs(joined.problem, chosen, *leading(joined.problem, state.pairs, state.fit), kept)
        found |= _settle(joined, _round(joined, state, pairs))
    return found


def _design_of_sheets(joined: Joined) -> IntArray:
    return np.repeat(np.arange(len(joined.parts)), [part.sheets for part in joined.parts])


def _round(joined: Joined, state: State, pairs: Pairs) -> State:
    """One round of all problems: cavities, posteriors, messages, state shares of each."""
    problem, share = joined.problem, state.share
    total = np.add.reduceat(state.messages, joined.units, axis=0)
    left = total[joined.design] - state.messages
    prior = state.prior[joined.design]
    cavity = np.exp(left - left.max(axis=-1, keepdims=True)) * prior[:, None, None]
    cavity /= cavity.sum(axis=-1, keepdims=True)
    beliefs = source_beliefs(problem, cavity, prior[:, None])
    fit, posterior, log_unit = judge(problem, pairs, beliefs, share)
    messages = unit_messages(problem, pairs, posterior, beliefs)
    fresh = _state_shares(joined, messages, state.prior)
    return State(
        messages, share, fresh, state.differs, pairs, fit, posterior, log_unit, beliefs, state.rounds + 1
    )


def _state_shares(joined: Joined, messages: FloatArray, prior: FloatArray) -> FloatArray:
    """(D, A) state shares of each problem; see `propagation.state_shares`."""
    total = np.add.reduceat(messages[:, 0], joined.units, axis=0)
    belief = np.exp(total - total.max(axis=-1, keepdims=True)) * prior[:, None]
    belief /= belief.sum(axis=-1, keepdims=True)
    read = np.abs(total).max(axis=-1) > 0.1
    share = (belief * read[..., None]).sum(axis=1) + PRIOR_WEIGHT * first_prior(joined.problem)
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def _settle(joined: Joined, state: State) -> dict[int, State]:
    """Rounds over the pairs that are not negligible, until no posterior of a problem moves by more than the
    tolerance; each problem leaves when its own stand still."""
    settings = joined.problem.settings
    pairs = active_pairs(joined.problem, state.pairs, state.posterior)
    found: dict[int, State] = {}
    previous: FloatArray | None = None
    for turn in range(settings.max_iterations):
        state = _round(joined, state, pairs)
        if previous is not None:
            begins = np.searchsorted(pairs.sheet, joined.sheets)
            moved = np.maximum.reduceat(np.abs(state.posterior - previous).max(axis=1), begins)
            still = moved < settings.tolerance
        else:
            still = np.zeros(len(joined.parts), dtype=bool)
        if turn + 1 == settings.max_iterations:
            still[:] = True
        found |= {joined.number[at]: _part(joined, state, int(at)) for at in np.flatnonzero(still)}
        if still.all():
            break
        if still.any():
            joined, state = _select(joined, state, ~still)
            pairs = state.pairs
        previous = state.posterior
    return found


def _select(joined: Joined, state: State, keep: BoolArray) -> tuple[Joined, State]:
    """Only the problems of the mask (D,)."""
    if keep.all():
        return joined, state
    chosen = np.flatnonzero(keep)
    some = join_problems([joined.parts[at] for at in chosen], [joined.number[at] for at in chosen])
    units = keep[joined.design]
    held = keep[_design_of_sheets(joined)]
    mine = held[state.pairs.sheet]
    sheet = (np.cumsum(held) - 1)[state.pairs.sheet[mine]]
    return some, replace(
        state,
        messages=state.messages[units],
        prior=state.prior[keep],
        pairs=make_pairs(some.problem, sheet, state.pairs.hypothesis[mine]),
        fit=state.fit[mine],
        posterior=state.posterior[mine],
        log_unit=state.log_unit[units],
        beliefs=state.beliefs[units],
    )


def _part(joined: Joined, state: State, at: int) -> State:
    """The state of one problem by itself."""
    part = joined.parts[at]
    units = slice(joined.units[at], joined.units[at] + part.units)
    ends = np.searchsorted(state.pairs.sheet, [joined.sheets[at], joined.sheets[at] + part.sheets])
    pairs = slice(*ends)
    sheet = state.pairs.sheet[pairs] - joined.sheets[at]
    return State(
        messages=state.messages[units],
        share=state.share,
        prior=state.prior[at],
        differs=state.differs,
        pairs=make_pairs(part, sheet, state.pairs.hypothesis[pairs]),
        fit=state.fit[pairs],
        posterior=state.posterior[pairs],
        log_unit=state.log_unit[units],
        beliefs=state.beliefs[units],
        rounds=state.rounds,
    )
