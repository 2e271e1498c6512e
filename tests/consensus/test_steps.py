"""Work that asks for its rounds, side by side with other such work."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from consensus.steps import side_by_side


def countdown(name, rounds):
    got = []
    for turn in range(rounds):
        got += yield [(name, turn)]
    return name, got


def echo(steps):
    """Runs steps whose rounds are answered with themselves; what was asked for at once, and the result."""
    asked = []
    try:
        wanted = next(steps)
        while True:
            asked.append(wanted)
            wanted = steps.send(wanted)
    except StopIteration as end:
        return SimpleNamespace(asked=asked, result=end.value)


def test_each_gets_the_states_of_its_own_rounds_and_results_keep_their_order():
    found = echo(side_by_side([countdown("long", 3), countdown("none", 0), countdown("short", 1)]))
    assert found.result == [
        ("long", [("long", 0), ("long", 1), ("long", 2)]),
        ("none", []),
        ("short", [("short", 0)]),
    ]
    assert found.asked == [[("long", 0), ("short", 0)], [("long", 1)], [("long", 2)]]


def test_steps_side_by_side_may_stand_beside_others():
    inner = side_by_side([countdown("a", 2), countdown("b", 1)])
    found = echo(side_by_side([inner, countdown("c", 2)]))
    assert found.asked == [[("a", 0), ("b", 0), ("c", 0)], [("a", 1), ("c", 1)]]
    assert found.result[0] == [("a", [("a", 0), ("a", 1)]), ("b", [("b", 0)])]


def test_what_fails_in_one_is_raised():
    def broken():
        yield [("x", 0)]
        raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        echo(side_by_side([countdown("a", 3), broken()]))
