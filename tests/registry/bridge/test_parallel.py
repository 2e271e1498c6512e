"""Work on many items: in order, with its errors, in one process or more."""

from __future__ import annotations

import os

import pytest

from registry.bridge.parallel import crew, processors


def times(shared: int, item: int) -> tuple[int, int]:
    return shared * item, os.getpid()


def fail_at_three(shared: None, item: int) -> int:
    if item == 3:
        raise ValueError("three")
    return item


@pytest.mark.parametrize("workers", [1, 2])
def test_results_come_in_the_order_of_the_items(workers: int) -> None:
    with crew(3, workers) as each:
        found = list(each(times, range(40)))
    assert [value for value, _process in found] == [3 * item for item in range(40)]
    assert (os.getpid() in {process for _value, process in found}) == (workers == 1)


@pytest.mark.parametrize("workers", [1, 2])
def test_an_error_in_the_work_reaches_the_caller(workers: int) -> None:
    with crew(None, workers) as each, pytest.raises(ValueError, match="three"):
        list(each(fail_at_three, range(10)))


def test_there_is_at_least_one_processor() -> None:
    assert processors() >= 1
