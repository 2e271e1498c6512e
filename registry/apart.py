"""Heavy work of a server process, done in a process beside it that gives way.

A read of a chart takes a millisecond, the weighing of a sheet ten and more, and threads of one process take
turns: who reads would wait for who checks.  Another process, niced, does not hold them up.
"""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from prometheus_client import Counter

from registry.outages import TookTooLong
from registry.request_log import request_id

NICE = 15
PATIENCE = 30.0  # s
P = ParamSpec("P")
T = TypeVar("T")

log = logging.getLogger("registry.apart")
DEATHS = Counter("benchquorum_heavy_process_deaths", "Processes for heavy work that died or were stuck")


class Apart:
    """One for each server process.  Before `start`, and until the other process is up, work is done here."""

    def __init__(self, patience: float = PATIENCE) -> None:
        self.patience = patience
        self._pool: ProcessPoolExecutor | None = None
        self._up: Future[None] | None = None
        self._since = 0.0
        self._starting = threading.Lock()

    def start(self) -> None:
        with self._starting:
            if self._pool is None:
                self._begin()

    def stop(self) -> None:
        with self._starting:
            if self._pool is not None:
                self._pool.shutdown()
            self._pool = self._up = None

    def run(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """What `work` returns or raises, in the language and under the request of the caller.

        work: a function of a module that changes nothing, for it is done again where the process dies; it,
        what it is given and what it gives must be fit to be pickled.  A process that is at one thing for more
        than `patience` seconds ends; TookTooLong for whoever has waited for as long.
        """
        pool, up = self._pool, self._up
        if pool is None or up is None or not up.done():
            return work(*args, **kwargs)
        from django.utils.translation import get_language

        since = time.monotonic()
        caller = get_language(), request_id.get(), self.patience
        try:
            return pool.submit(_do, caller, work, args, kwargs).result()
        except BrokenProcessPool:
            self._again(pool)
            if time.monotonic() - since >= self.patience:
                raise TookTooLong from None
            return work(*args, **kwargs)

    def _begin(self) -> None:
        # spawned: a fork would take over threads' locks and the lines to the database
        spawned = multiprocessing.get_context("spawn")
        self._pool = ProcessPoolExecutor(1, mp_context=spawned, initializer=_settle_in)
        self._up = self._pool.submit(_up)
        self._since = time.monotonic()

    def _again(self, broken: ProcessPoolExecutor) -> None:
        """Another one; but one that hardly lived would do no better than the last, and work is done here."""
        with self._starting:
            if self._pool is not broken or time.monotonic() - self._since < self.patience:
                return
            log.warning("the process for heavy work died, or was stuck and ended; another is started")
            DEATHS.inc()
            broken.shutdown(wait=False)
            self._begin()


apart = Apart()


def give_way() -> None:
    """From now on this process comes after those that somebody waits for.

    Where Linux shares the processor out by sessions, niceness counts within a session only; a process that
    leads its own, as under a supervisor, gives way with the whole of it.
    """
    os.nice(NICE)
    if os.getsid(0) == os.getpid():
        with contextlib.suppress(OSError):  # no Linux, or none that does so
            Path("/proc/self/autogroup").write_text(str(NICE))


def _settle_in() -> None:
    """In the new process, before its first work."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    os.setsid()
    give_way()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    import django

    django.setup()
    from registry.poolers import requests_pooled

    requests_pooled()


def _end_with_parent() -> None:
    """A parent that is killed can't say so, and its child would wait for work for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(0)


def _up() -> None:
    """Done as soon as the process is up."""


def _do(
    caller: tuple[str | None, str, float],
    work: Callable[..., T],
    args: tuple[Any, ...],
    kwargs: dict[str, Any],
) -> T:
    """caller: language, id of the request, seconds after which the system's alarm ends this process."""
    from django.db import close_old_connections
    from django.utils import translation

    language, request, patience = caller
    request_id.set(request)
    signal.setitimer(signal.ITIMER_REAL, patience)
    close_old_connections()
    try:
        with translation.override(language):
            return work(*args, **kwargs)
    finally:
        close_old_connections()
        signal.setitimer(signal.ITIMER_REAL, 0)
