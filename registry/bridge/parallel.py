"""The same work on many designs or sheets, on all processors where that is worth it."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")
Each = Callable[[Callable[[Any, Any], Any], Sequence[Any]], Iterator[Any]]

WORTH_SPREADING = 20  # sheets
MOST_AT_ONCE = 16  # items sent to a worker together

_shared: Any = None  # in a worker process: what all of its work needs


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def crew(shared: Any, workers: int) -> Iterator[Each]:
    """Gives `each(work, items)`: the results of `work(shared, item)` in the order of the items.

    `work` is a function of a module; with fewer than two workers all is done in this process.  A fork
    inherits what is shared, so that nothing large is sent; elsewhere it is sent once a worker.
    """
    if workers < 2:
        yield lambda work, items: (work(shared, item) for item in items)
        return
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    with ProcessPoolExecutor(workers, context, initializer=_keep, initargs=(shared,)) as pool:

        def each(work: Callable[[Any, Any], Any], items: Sequence[Any]) -> Iterator[Any]:
            at_once = max(1, min(MOST_AT_ONCE, len(items) // (32 * workers)))
            return pool.map(_Work(work), items, chunksize=at_once)

        yield each


def each_sheet(
    work: Callable[[Any, Item], Result],
    shared: Any,
    sheets: Sequence[Item],
    progress: Callable[[float], None] | None,
    workers: int,
) -> list[Result]:
    """The results of sheets that stand alone, with progress told; a few of them stay in this process."""
    found: list[Result] = []
    with crew(shared, workers if len(sheets) >= WORTH_SPREADING else 1) as each:
        for result in each(work, sheets):
            found.append(result)
            if progress is not None:
                progress(len(found) / len(sheets))
    return found


def _keep(shared: Any) -> None:
    global _shared
    _shared = shared


class _Work:
    """Sends the function by its name; the shared data are in the worker already."""

    def __init__(self, work: Callable[[Any, Any], Any]) -> None:
        self._work = work

    def __call__(self, item: Any) -> Any:
        return self._work(_shared, item)
