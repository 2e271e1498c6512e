"""`benchquorum work`: a worker of the durable queue; as many as you like, on as many machines as you like.

A second thread says each few seconds that the worker lives, takes over what silent workers left, and ends the
process where one task has run for longer than any honest one, or where it was frozen for so long that others
have taken over from it: a supervisor starts it again.
"""

from __future__ import annotations

import argparse
import logging
import os
import threading
import time
from typing import Any

from registry.apart import give_way
from registry.errors import RegistryError
from registry.translation import gettext as _

NEEDS_DATABASE = True
STUCK = 75  # exit status of a worker that ended itself

log = logging.getLogger("registry.worker")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--interval", type=float, default=0.2, help="seconds between looks at an empty queue")
    parser.add_argument("--batch", action="store_true", help="work off what waits, then end")


def run(args: argparse.Namespace) -> int:
    from django.conf import settings

    from registry.services.workers import lines_named

    if settings.TASKS_QUEUE != "database":
        raise RegistryError(
            "queue_immediate",
            _("There is no queue to work on: work is done at once."),
            _("Set BENCHQUORUM_QUEUE=database for the server and its workers."),
        )
    give_way()
    worker = _worker(args)
    lines_named(worker_id=worker.worker_id)
    care = Care(
        worker,
        task_seconds=settings.BENCHQUORUM_TASK_SECONDS,
        silent_seconds=settings.BENCHQUORUM_WORKER_SILENT,
    )
    care.start()
    try:
        worker.configure_signals()
        worker.run()
    finally:
        care.stop()
    return 0


def _worker(args: argparse.Namespace) -> Any:
    from django.utils.crypto import get_random_string
    from django_tasks_db.management.commands.db_worker import Worker

    from registry.log_lines import request_id

    class WatchedWorker(Worker):
        task_since: float | None = None

        def run_task(self, db_task_result: Any) -> None:
            self.task_since = time.monotonic()
            token = request_id.set(f"task-{db_task_result.pk}")
            try:
                super().run_task(db_task_result)
            finally:
                request_id.reset(token)
                self.task_since = None

    return WatchedWorker(
        queue_names=["default"],
        interval=args.interval,
        batch=args.batch,
        backend_name="default",
        startup_delay=False,
        max_tasks=None,
        worker_id=get_random_string(32),
        excluded_queue_names=[],
    )


class Care(threading.Thread):
    """The worker's other thread."""

    def __init__(self, worker: Any, *, task_seconds: float, silent_seconds: float) -> None:
        super().__init__(daemon=True)
        self.worker, self.task_seconds, self.silent_seconds = worker, task_seconds, silent_seconds
        self.beat_seconds = silent_seconds / 5
        self.ended = threading.Event()

    def start(self) -> None:
        from registry.services.workers import beat

        beat(worker_id=self.worker.worker_id)  # before its first task is
        super().start()

    def run(self) -> None:
        from django.db import connection

        try:
            self._until_ended()
        finally:
            connection.close()  # this thread's own

    def _until_ended(self) -> None:
        from registry.services.workers import line_ended

        next_round = before = time.monotonic()
        while True:
            if time.monotonic() - before > self.silent_seconds and line_ended():
                log.error("this process was frozen, and others took over its tasks; this worker ends")
                os._exit(STUCK)
            before = time.monotonic()
            since = self.worker.task_since
            if since is not None and time.monotonic() - since > self.task_seconds:
                log.error("a task ran for more than %s s; this worker ends", self.task_seconds)
                os._exit(STUCK)
            round_due = time.monotonic() >= next_round
            if round_due:
                next_round = time.monotonic() + 2 * self.beat_seconds
            self._say(round_due)
            if self.ended.wait(self.beat_seconds):
                return

    def _say(self, round_due: bool) -> None:
        from django.db import connection

        from registry.services.workers import beat, round_of_care

        try:
            beat(worker_id=self.worker.worker_id)
            if round_due:
                round_of_care()
        except Exception:  # whatever it is: without its sign of life this worker would be taken for dead
            log.exception("the worker's round failed; trying again")
            connection.close()

    def stop(self) -> None:
        from registry.services.workers import leave

        self.ended.set()
        self.join(self.beat_seconds)
        leave(worker_id=self.worker.worker_id)
