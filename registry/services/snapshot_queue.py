"""Reliability snapshots by the queue: one worker learns, all compute the charts under what it learned."""

from __future__ import annotations

from django.db import transaction
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from registry.models import Design
from registry.services.refreshes import mark_stale
from registry.services.snapshots import snapshot_in_force, snapshot_learn
from registry.tasks import learn_snapshot, refresh_chart

LATER = -10  # priority: whatever concerns a single sheet goes first (refreshes.py lifts what waits)


def snapshot_queue() -> None:
    """One that waits does for all that ask."""
    waiting = DBTaskResult.objects.filter(task_path=learn_snapshot.module_path, status=TaskResultStatus.READY)
    if not waiting.exists():
        learn_snapshot.enqueue()


@transaction.atomic
def snapshot_apply() -> int:
    """Learn; where it is a new one, owe each design a chart under it, and queue them; how many.

    One transaction: a snapshot that is in force is never without the marks that make charts follow it.
    """
    before = snapshot_in_force()
    if snapshot_learn().pk == before.pk:
        return 0
    designs = list(Design.objects.filter(sheets__isnull=False).distinct().values_list("pk", flat=True))
    in_no_queue = Design.objects.filter(pk__in=designs, stale=False).order_by("pk")
    for pk in list(in_no_queue.values_list("pk", flat=True)):
        refresh_chart.using(priority=LATER).enqueue(pk)
    mark_stale(designs)  # last: who sends a sheet waits for what is marked until all of this is stored
    return len(designs)
