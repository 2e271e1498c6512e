"""What waits to be done, in figures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.db.models import Min
from django.db.models.functions import Now
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.models import ChartRevision, Design, RefreshTrouble, WorkerBeat


@dataclass(frozen=True)
class Backlog:
    """Counts; oldest_seconds: age in s of the task that has waited longest, 0 where none waits."""

    ready: int
    running: int
    failed: int
    oldest_seconds: float
    workers: int
    stale: int
    parked: int
    held: int


def backlog() -> Backlog:
    tasks = DBTaskResult.objects.all()
    oldest = tasks.ready().aggregate(oldest=Min("enqueued_at"))["oldest"]
    living = timedelta(seconds=settings.BENCHQUORUM_WORKER_SILENT)
    return Backlog(
        ready=tasks.ready().count(),
        running=tasks.running().count(),
        failed=tasks.failed().count(),
        oldest_seconds=0.0 if oldest is None else (timezone.now() - oldest).total_seconds(),
        workers=WorkerBeat.objects.filter(seen_at__gte=Now() - living).count(),
        stale=Design.objects.filter(stale=True).count(),
        parked=RefreshTrouble.objects.filter(parked_at__isnull=False).count(),
        held=ChartRevision.objects.filter(state=ChartRevision.State.HELD).count(),
    )
