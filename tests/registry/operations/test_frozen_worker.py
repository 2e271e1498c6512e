"""A worker that is frozen, or whose machine is gone, is taken over like a dead one; its locks are free."""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from django.db import connection
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.commands.work import STUCK, _worker
from registry.models import Design, WorkerBeat
from registry.services.refreshes import mark_stale
from registry.services.workers import LINE, beat, line_ended, tasks_take_over
from registry.tasks import refresh_chart
from tests.api.made import made_design, made_user

ROOT = Path(__file__).parents[3]
pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has no lines, and one writer"),
]


@pytest.fixture
def design(settings: Any) -> Design:
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    settings.TASKS_QUEUE = "database"
    settings.BENCHQUORUM_WORKER_SILENT = 2.0
    return made_design(made_user())


@pytest.fixture
def frozen(design: Design, tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    given = connection.settings_dict
    word = f":{quote(given['PASSWORD'])}" if given["PASSWORD"] else ""
    place = f"{quote(given['HOST'] or '127.0.0.1', safe='')}:{given['PORT'] or 5432}"
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "registry.settings",
        "DATABASE_URL": f"postgres://{quote(given['USER'])}{word}@{place}/{given['NAME']}",
        "BENCHQUORUM_DATA": str(tmp_path),
        "BENCHQUORUM_SECRET_KEY": "of a test",
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.registry.operations.frozen_worker", str(design.pk)],
        cwd=ROOT, env=environment, text=True, stdout=subprocess.PIPE,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        with process.stdout:
            assert process.stdout.readline() == "computes\n"
            os.kill(process.pid, signal.SIGSTOP)
            yield process
    finally:
        process.kill()
        process.wait()


def locked(design: Design) -> bool:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND objid = %s AND granted",
            [design.pk],
        )
        return bool(cursor.fetchone()[0])


def lines_of(worker_id: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity "
            "WHERE application_name = %s AND datname = current_database()",
            [LINE + worker_id],
        )
        return int(cursor.fetchone()[0])


def soon(what: Callable[[], bool]) -> bool:
    until = time.monotonic() + 5
    while not what() and time.monotonic() < until:
        time.sleep(0.05)
    return what()


def test_what_a_frozen_worker_has_locked_is_free_once_it_is_taken_over(
    design: Design, frozen: subprocess.Popen[str]
) -> None:
    mark_stale([design.pk])
    task = DBTaskResult.objects.get(pk=refresh_chart.enqueue(design.pk).id)
    task.status, task.worker_ids, task.started_at = "RUNNING", ["frozen"], timezone.now()
    task.save()
    beat(worker_id="living")
    assert tasks_take_over() == 0 and locked(design)
    assert lines_of("frozen") == 2, "that of its tasks, renewed since, and that of its signs of life"
    time.sleep(2.2)
    beat(worker_id="living")
    assert tasks_take_over() == 1
    assert soon(lambda: not locked(design)) and soon(lambda: lines_of("frozen") == 0)
    task.refresh_from_db()
    assert task.status == "READY"
    os.kill(frozen.pid, signal.SIGCONT)
    assert frozen.wait(10) == STUCK, "it comes to life again, and ends itself"


@pytest.fixture
def other_line() -> Iterator[Any]:
    line = connection.Database.connect(**connection.get_connection_params())
    with line:
        yield line


def called(line: Any, name: str) -> None:
    line.execute("SELECT set_config('application_name', %s, false)", [name])
    line.commit()


def test_of_a_silent_worker_only_lines_of_its_name_are_ended(design: Design, other_line: Any) -> None:
    beat(worker_id="gone")
    WorkerBeat.objects.update(seen_at=timezone.now() - timedelta(minutes=3))
    for name in ("", "psql", LINE, LINE + "gone2"):
        called(other_line, name)
        tasks_take_over()
        other_line.execute("SELECT 1")
    called(other_line, LINE + "gone")
    beat(worker_id="gone")
    tasks_take_over()
    other_line.execute("SELECT 1")
    other_line.commit()
    WorkerBeat.objects.update(seen_at=timezone.now() - timedelta(minutes=3))
    tasks_take_over()
    with pytest.raises(connection.Database.OperationalError):
        other_line.execute("SELECT 1")


def test_a_worker_that_was_silent_itself_ends_none_of_its_own_lines(design: Design, other_line: Any) -> None:
    called(other_line, LINE + "late")
    beat(worker_id="late")
    WorkerBeat.objects.update(seen_at=timezone.now() - timedelta(minutes=3))
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('application_name', %s, false)", [LINE + "late"])
    try:
        tasks_take_over()
        assert not line_ended()
        other_line.execute("SELECT 1")
    finally:
        connection.close()


def test_a_name_of_a_line_is_not_cut_short() -> None:
    longest = LINE + _worker(argparse.Namespace(interval=1, batch=True)).worker_id
    with connection.cursor() as cursor:
        cursor.execute("SELECT %s::name::text", [longest])
        assert cursor.fetchone()[0] == longest
