"""Which charts are owed, and what becomes of a design that can't be computed.

The mark `stale` is set in the transaction of the change: whatever is lost on the way, a worker's round finds
it.  Changes that come while a design waits or computes don't queue it again.  A design that fails again and
again is parked, shown to moderators, and costs nobody else anything.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from functools import partial

from django.conf import settings
from django.db import InterfaceError, OperationalError, connection, transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from registry.models import Design, RefreshTrouble, User
from registry.permissions import require
from registry.selectors.evidence import designs_fed_by
from registry.services.audit import record
from registry.services.charts import chart_refreshed
from registry.tasks import refresh_chart

log = logging.getLogger("registry.refresh")
FAILURES_TO_PARK = 3
ROUNDS = 5  # how often one task computes a design whose evidence keeps changing under it


def mark_stale(design_ids: Iterable[int]) -> None:
    """In the transaction of the change; the counter tells a computation that it has been overtaken."""
    _mark(designs_fed_by(design_ids))


def _mark(design_ids: Iterable[int]) -> None:
    ids = sorted(design_ids)
    rows = Design.objects.filter(pk__in=ids)
    with transaction.atomic(savepoint=False):
        if len(ids) > 1:  # in the order of all who mark
            list(rows.order_by("pk").select_for_update(no_key=True).values_list("pk"))
        rows.update(stale=True, changes=F("changes") + 1)


def queue_refresh(design: Design) -> None:
    """Owe a new chart to the design, and to those for which its sheets count after a merge or a move."""
    queue_refreshes([design.pk])


def queue_refreshes(design_ids: Iterable[int]) -> None:
    """The same for all designs of a deed, at once: two deeds that mark them in different orders would each
    wait for what the other has marked."""
    for pk in sorted(designs_fed_by(design_ids)):
        _queue_one(pk)


def _queue_one(pk: int) -> None:
    """From within the transaction of the change."""
    if settings.TASKS_QUEUE == "immediate":
        _mark([pk])
        transaction.on_commit(partial(refresh_chart.enqueue, pk))
        return
    if _mark_first(pk):
        refresh_chart.enqueue(pk)  # a row of the same database: it comes and goes with the change
    else:
        waiting = DBTaskResult.objects.filter(task_path=refresh_chart.module_path, priority__lt=0)
        waiting.filter(status=TaskResultStatus.READY, args_kwargs__args__0=pk).update(priority=0)


def _mark_first(pk: int) -> bool:
    """Mark the design; whether it had no mark before."""
    if connection.vendor != "postgresql":
        fresh = Design.objects.filter(pk=pk, stale=False).update(stale=True, changes=F("changes") + 1)
        if not fresh:
            _mark([pk])
        return bool(fresh)
    table = connection.ops.quote_name(Design._meta.db_table)
    with connection.cursor() as cursor:
        cursor.execute(
            f"""WITH before AS (SELECT id, stale FROM {table} WHERE id = %s FOR NO KEY UPDATE)
            UPDATE {table} SET stale = true, changes = changes + 1 FROM before
            WHERE {table}.id = before.id RETURNING before.stale""",  # noqa: S608  our own name
            [pk],
        )
        marked = cursor.fetchone()
    return marked is not None and not marked[0]


def queue_left_behind(design_ids: Iterable[int] | None = None) -> None:
    """Whoever repeats a call finishes what a killed process left owed; workers of a queue find it anyway."""
    if settings.TASKS_QUEUE == "immediate":
        left = owed() if design_ids is None else owed().filter(pk__in=sorted(design_ids))
        for pk in left.values_list("pk", flat=True):
            transaction.on_commit(partial(refresh_chart.enqueue, pk))


def refresh_run(*, design_id: int) -> None:
    """Compute a design until nothing is owed; a failure is noted, and the design parked after several.

    Raises only where the database is at fault, not the design.
    """
    for _ in range(ROUNDS):
        found = owed().filter(pk=design_id).values_list("merged_into_id").first()
        if found is None:
            return
        try:
            if found[0] is not None:
                _pass_on(design_id)
            _revision, fresh = chart_refreshed(design_id=design_id)
            if fresh:
                return
        except (OperationalError, InterfaceError):
            raise
        except Exception as error:
            log.exception("the chart of design %s could not be computed", design_id)
            trouble_note(design_id=design_id, error=f"{type(error).__name__}: {error}")
            return


@transaction.atomic
def _pass_on(design_id: int) -> None:
    """A sheet that came in while its design was being merged into another has marked its own design alone."""
    for pk in sorted(designs_fed_by([design_id]) - {design_id}):
        _queue_one(pk)


def refresh_owed() -> int:
    """Refresh every design that a stopped process left behind; how many there were."""
    left = list(owed().order_by("pk").values_list("pk", flat=True))
    for design_id in left:
        refresh_run(design_id=design_id)
    return len(left)


def owed() -> QuerySet[Design]:
    """Designs whose evidence changed since their chart was computed, without the parked ones."""
    return Design.objects.filter(stale=True).exclude(trouble__parked_at__isnull=False)


@transaction.atomic
def trouble_note(*, design_id: int, error: str, park: bool = False) -> RefreshTrouble:
    """One more failure of this design; the third parks it, or this one, if so asked."""
    now = timezone.now()
    RefreshTrouble.objects.get_or_create(design_id=design_id, defaults={"failed_at": now})
    trouble = RefreshTrouble.objects.select_for_update(no_key=True).get(design_id=design_id)
    trouble.failures += 1
    trouble.error = (error.splitlines() or [""])[0][:200]
    trouble.failed_at = now
    if trouble.parked_at is None and (park or trouble.failures >= FAILURES_TO_PARK):
        trouble.parked_at = now
        log.error("design %s is parked after %s failures", design_id, trouble.failures)
    trouble.save()
    return trouble


@transaction.atomic
def refresh_retry(*, by: User, design: Design) -> None:
    """A moderator has looked at a parked design and lets it be tried again."""
    require(by, "moderate", design)
    RefreshTrouble.objects.filter(design=design).delete()
    record(by=by, action="refresh_retry", target_kind="design", target_uuid=design.uuid)
    if settings.TASKS_QUEUE == "immediate":
        queue_refresh(design)
    else:
        mark_stale([design.pk])
        refresh_chart.enqueue(design.pk)
