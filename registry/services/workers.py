"""What keeps the durable queue going: workers say that they live, and the silent ones' tasks are taken over.

The queue itself leaves the task of a killed worker running for ever, and its table grows without end.
"""

from __future__ import annotations

import logging
import os
import socket
from datetime import timedelta

from django.conf import settings
from django.db import connection, transaction
from django.db.models.functions import Now
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from registry.models import RefreshTrouble, WorkerBeat
from registry.services.audit import chain_seal
from registry.services.mail import mail_forget
from registry.services.refreshes import FAILURES_TO_PARK, owed, trouble_note
from registry.services.webhooks.queue import deliveries_owed
from registry.services.work import works_owed
from registry.tasks import refresh_chart

log = logging.getLogger("registry.worker")
FINISHED_FOR = timedelta(days=1)  # the queue's table slows down as it grows
LAST_FOR = timedelta(seconds=30)  # how long a failed design waits, times its failures
TRIES = 3
DEATHS_FOR = timedelta(hours=1)  # how long a worker's death counts
ROUND_LOCK = 0x62710002
LINE = "benchquorum worker "  # with a worker's id: what its lines to PostgreSQL are called, 63 signs at most
_END_LINES = """
SELECT beat.worker_id, pg_terminate_backend(line.pid)
FROM registry_workerbeat beat JOIN pg_stat_activity line ON line.application_name = %s || beat.worker_id
WHERE beat.seen_at < now() - make_interval(secs => %s)
  AND line.application_name <> current_setting('application_name')
  AND line.usename = current_user AND line.datname = current_database()
"""


def beat(*, worker_id: str) -> None:
    """This worker lives, by the database's clock."""
    WorkerBeat.objects.update_or_create(
        worker_id=worker_id,
        defaults={"seen_at": Now()},
        create_defaults={
            "host": socket.gethostname()[:100],
            "pid": os.getpid(),
            "started_at": Now(),
            "seen_at": Now(),
        },
    )


def lines_named(*, worker_id: str) -> None:
    """From now on every line of this process to PostgreSQL, of any thread, bears the worker's name.

    So whoever takes over from it finds those that it has then, however often they were renewed.
    """
    if connection.vendor != "postgresql":
        return
    name = LINE + worker_id
    connection.settings_dict["OPTIONS"]["application_name"] = name  # one for all threads
    if connection.connection is not None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('application_name', %s, false)", [name])


def line_ended() -> bool:
    """Whether this thread had a line to PostgreSQL and it was ended, as by who took the worker for dead."""
    if connection.vendor != "postgresql" or connection.connection is None:
        return False
    return not connection.is_usable()


def leave(*, worker_id: str) -> None:
    """This worker goes in good order: nothing of it has to be waited for."""
    WorkerBeat.objects.filter(worker_id=worker_id).delete()


def round_of_care() -> None:
    """What each living worker does now and then; of several at once one does it."""
    with transaction.atomic():
        if not _alone():
            return
        tasks_take_over()
        tasks_owed()
        works_owed()
        deliveries_owed()
        mail_forget()
        DBTaskResult.objects.finished().filter(finished_at__lt=timezone.now() - FINISHED_FOR).delete()
        WorkerBeat.objects.filter(seen_at__lt=Now() - FINISHED_FOR).delete()
    chain_seal()


def _alone() -> bool:
    if connection.vendor != "postgresql":
        return True  # one writer at a time
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [ROUND_LOCK])
        return bool(cursor.fetchone()[0])


@transaction.atomic
def tasks_take_over() -> int:
    """Tasks of workers that fell silent go back to the queue; one that has killed three is given up.

    Not where more workers died of something else lately: then the machine is at fault, not the task.
    """
    silent_for = timedelta(seconds=settings.BENCHQUORUM_WORKER_SILENT)
    _lines_end(silent_for)
    seen = WorkerBeat.objects.filter(seen_at__gte=Now() - DEATHS_FOR)
    living = set(seen.filter(seen_at__gte=Now() - silent_for).values_list("worker_id", flat=True))
    fell = set(seen.values_list("worker_id", flat=True)) - living
    taken = 0
    running = DBTaskResult.objects.running().select_for_update(skip_locked=True, no_key=True)
    for task in running:
        if task.worker_ids and task.worker_ids[-1] in living:
            continue
        taken += 1
        log.warning("task %s is taken over from worker %s", task.pk, (task.worker_ids or ["none"])[-1])
        at_fault = len(task.worker_ids) >= len(fell - set(task.worker_ids))
        given_up = at_fault and len(task.worker_ids) >= TRIES
        if at_fault and task.task_path == refresh_chart.module_path:
            design_id = task.args_kwargs["args"][0]
            trouble = trouble_note(design_id=design_id, error="the worker died of it", park=given_up)
            given_up = trouble.parked_at is not None
        if given_up:
            task.set_failed(RuntimeError("its workers died"))
        else:
            task.status = TaskResultStatus.READY
            task.save(update_fields=["status"])
    return taken


def _lines_end(silent_for: timedelta) -> None:
    """All of silent workers', or what they have locked stays so for as long as a frozen one's line is up.

    Not one's own: a worker that was silent itself has a say in that.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(_END_LINES, [LINE, silent_for.total_seconds()])
        for worker_id, _ended in cursor.fetchall():
            log.warning("a line of silent worker %s to the database is ended", worker_id)


def tasks_owed() -> int:
    """Queue the designs that are owed a chart and are in no queue; failed ones after a pause."""
    queued = {
        plain["args"][0]
        for plain in DBTaskResult.objects.filter(
            task_path=refresh_chart.module_path,
            status__in=[TaskResultStatus.READY, TaskResultStatus.RUNNING],
        ).values_list("args_kwargs", flat=True)
    }
    now = timezone.now()
    waiting = {
        trouble.design_id
        for trouble in RefreshTrouble.objects.filter(failures__lt=FAILURES_TO_PARK)
        if trouble.failed_at + LAST_FOR * trouble.failures > now
    }
    ready = set(owed().values_list("pk", flat=True)) - queued - waiting
    for design_id in sorted(ready):
        refresh_chart.enqueue(design_id)
    return len(ready)
