"""The same work on many designs or sheets, on all processors where that is worth it."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")
WORTH_SPREADING = 20  # sheets

_shared: Any = None  # in a worker process: what all of its work needs


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def each(
    work: Callable[[Any, Item], Result], shared: Any, items: Sequence[Item], workers: int = 1, chunk: int = 1
) -> Iterator[Result]:
    """`work(shared, item)` of each item, in their order; `work` is a function of a module."""
    if workers < 2 or len(items) <= chunk:
        for item in items:
            yield work(shared, item)
        return
    # A fork inherits what is shared; elsewhere it is sent once a worker.
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(method)
    with ProcessPoolExecutor(workers, context, initializer=_keep, initargs=(shared,)) as pool:
        yield from pool.map(_Work(work), items, chunksize=chunk)


def each_sheet(
    work: Callable[[Any, Item], Result],
    shared: Any,
    sheets: Sequence[Item],
    progress: Callable[[float], None] | None,
    workers: int,
) -> list[Result]:
    """`each` of sheets that stand alone, with progress told; a few of them stay in this process."""
    found: list[Result] = []
    for result in each(work, shared, sheets, workers if len(sheets) >= WORTH_SPREADING else 1, 4):
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
