"""What waits to be done, in figures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.db.models import Case, F, Min, When
from django.db.models.functions import Now
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult
from django_tasks_db.models import get_date_max as at_once

from registry.models import ChartRevision, ClockRun, Design, RefreshTrouble, WorkerBeat

MAIL = "registry.tasks.send_mail"  # by name: tasks know the services


@dataclass(frozen=True)
class Backlog:
    """Counts; oldest_seconds: age in s of the task that has waited longest, 0 where none waits.

    mails: those too that wait for their next try.
    """

    ready: int
    running: int
    failed: int
    oldest_seconds: float
    mails: int
    workers: int
    stale: int
    parked: int
    held: int


def backlog() -> Backlog:
    tasks = DBTaskResult.objects.all()
    # a task for later waits from then on, not since it was made
    since = Case(When(run_after=at_once(), then=F("enqueued_at")), default=F("run_after"))
    oldest = tasks.ready().aggregate(oldest=Min(since))["oldest"]
    living = timedelta(seconds=settings.BENCHQUORUM_WORKER_SILENT)
    return Backlog(
        ready=tasks.ready().count(),
        running=tasks.running().count(),
        failed=tasks.failed().count(),
        oldest_seconds=0.0 if oldest is None else (timezone.now() - oldest).total_seconds(),
        mails=tasks.filter(task_path=MAIL, status=TaskResultStatus.READY).count(),
        workers=WorkerBeat.objects.filter(seen_at__gte=Now() - living).count(),
        stale=Design.objects.filter(stale=True).count(),
        parked=RefreshTrouble.objects.filter(parked_at__isnull=False).count(),
        held=ChartRevision.objects.filter(state=ChartRevision.State.HELD).count(),
    )


def since_ended_well() -> dict[str, float]:
    """Seconds since each command that a clock runs last ended well; infinite where it never did."""
    runs = ClockRun.objects.annotate(now=Now()).values_list("command", "ended_at", "now")
    since = {command: (now - ended_at).total_seconds() for command, ended_at, now in runs}
    return {command: since.get(command, math.inf) for command in ClockRun.Command.values}
