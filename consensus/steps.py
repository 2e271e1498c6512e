"""Work that asks for rounds of propagation instead of running them, so that the rounds of many designs, or of
several trials of one, may be run as one (together.py)."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from consensus.problem import Problem

if TYPE_CHECKING:
    from consensus.inference import Pairs
    from consensus.propagation import State

Result = TypeVar("Result")
Steps = Generator[list["Round"], list["State"], Result]  # asks for rounds that don't depend on each other


@dataclass(frozen=True)
class Round:
    """A round that is wanted: the state that it starts from and the pairs that it weighs."""

    problem: Problem
    state: State
    pairs: Pairs


def side_by_side(several: Sequence[Steps[Result]]) -> Steps[list[Result]]:
    """The results of steps that don't depend on each other, in their order; their rounds are asked for
    together."""
    found: dict[int, Result] = {}
    wanted: dict[int, list[Round]] = {}

    def go_on(at: int, states: list[State] | None) -> None:
        try:
            wanted[at] = next(several[at]) if states is None else several[at].send(states)
        except StopIteration as end:
            found[at] = end.value
            wanted.pop(at, None)

    for at in range(len(several)):
        go_on(at, None)
    while wanted:
        states = yield [one for rounds in wanted.values() for one in rounds]
        for at, rounds in list(wanted.items()):
            mine, states = states[: len(rounds)], states[len(rounds) :]
            go_on(at, mine)
    return [found[at] for at in range(len(several))]
