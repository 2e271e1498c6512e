"""A worker that is frozen, or whose machine is gone, is taken over like a dead one; its locks are free."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from django.db import connection
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.models import Design, WorkerBeat
from registry.services.refreshes import mark_stale
from registry.services.workers import beat, line_ended, line_of_tasks, tasks_take_over
from registry.stores import database
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
    settings.BENCHQUORUM_WORKER_SILENT = 1.0
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


def test_what_a_frozen_worker_has_locked_is_free_once_it_is_taken_over(
    design: Design, frozen: subprocess.Popen[str]
) -> None:
    mark_stale([design.pk])
    task = DBTaskResult.objects.get(pk=refresh_chart.enqueue(design.pk).id)
    task.status, task.worker_ids, task.started_at = "RUNNING", ["frozen"], timezone.now()
    task.save()
    beat(worker_id="living", line=line_of_tasks())
    assert tasks_take_over() == 0 and locked(design)
    time.sleep(1.2)
    beat(worker_id="living", line=line_of_tasks())
    assert tasks_take_over() == 1
    until = time.monotonic() + 5
    while locked(design) and time.monotonic() < until:
        time.sleep(0.05)
    assert not locked(design)
    task.refresh_from_db()
    assert task.status == "READY"
    assert line_ended(worker_id="frozen") and not line_ended(worker_id="living")


def test_a_line_that_began_after_the_last_word_is_anothers(design: Design) -> None:
    beat(worker_id="gone", line=line_of_tasks())  # its number is this test's own by now
    WorkerBeat.objects.update(seen_at=timezone.now() - timedelta(days=3))
    tasks_take_over()
    assert Design.objects.filter(pk=design.pk).exists()
    assert line_ended(worker_id="gone")


def test_both_ends_of_a_line_notice_that_the_other_machine_is_gone() -> None:
    given: Any = database("postgres://u:p@127.0.0.1/x?options=-c%20statement_timeout=9", ROOT)
    assert given["OPTIONS"]["keepalives_idle"] == 10
    assert given["OPTIONS"]["options"] == "-c statement_timeout=9"  # whoever sets his own means it
    with connection.cursor() as cursor:
        cursor.execute("SHOW tcp_user_timeout")
        assert cursor.fetchone()[0] in ("25000", "0")  # 0: over a Unix socket, where no machine goes away
