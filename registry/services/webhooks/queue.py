"""When deliveries are sent: by the queue's workers, or, where there is no queue, by a thread of this process.

Nobody who sends a sheet waits for the address of a stranger.
"""

from __future__ import annotations

import logging
import threading
from datetime import datetime, timedelta
from functools import partial

from django.conf import settings
from django.db import connections, transaction
from django.db.models import Max, Q
from django.utils import timezone
from django_tasks import TaskResultStatus

from registry.models import Change, Webhook, WebhookDelivery
from registry.tasks import send_webhooks

log = logging.getLogger("registry.webhooks")
LONGEST_REST = 600.0  # seconds that the thread waits for the next try; later ones are for the next change
A_LITTLE = timedelta(seconds=1)
_thread: threading.Thread | None = None
_starting = threading.Lock()
_wake = threading.Event()  # there is something new to send


def queue_deliveries() -> None:
    """From within the transaction of the change, or after it; nothing to do where nobody wants to be told."""
    if Webhook.objects.filter(paused_at=None).exists():
        transaction.on_commit(_queue, robust=True)


def deliveries_owed() -> None:
    """What a killed process left unsent, and tries whose time has come."""
    newest = Change.objects.aggregate(newest=Max("number"))["newest"] or 0
    behind = Webhook.objects.filter(paused_at=None, read_up_to__lt=newest).exists()
    if behind or seconds_to_next() == 0:
        transaction.on_commit(partial(_queue, here=True), robust=True)


def _queue(here: bool = False) -> None:
    """here: in this very process, which would end before a thread of its own has sent anything."""
    if settings.TASKS_QUEUE != "immediate":
        queue_at(timezone.now())
    elif here:
        from registry.services.webhooks.sending import deliveries_send

        deliveries_send()
    else:
        _start_thread()


def queue_at(moment: datetime) -> None:
    """One task that waits does for all that comes before it is begun."""
    from django_tasks_db.models import DBTaskResult
    from django_tasks_db.models import get_date_max as at_once

    ready = DBTaskResult.objects.filter(task_path=send_webhooks.module_path, status=TaskResultStatus.READY)
    if moment <= timezone.now():
        if not ready.filter(Q(run_after=at_once()) | Q(run_after__lte=timezone.now())).exists():
            send_webhooks.enqueue()
    elif not ready.filter(run_after__lte=moment + A_LITTLE).exists():
        send_webhooks.using(run_after=moment).enqueue()


def _start_thread() -> None:
    global _thread
    with _starting:
        _wake.set()
        if _thread is None or not _thread.is_alive():
            _thread = threading.Thread(target=_send_all, name="webhooks", daemon=True)
            _thread.start()


def _send_all() -> None:
    from registry.services.webhooks.sending import deliveries_send

    try:
        while True:
            _wake.clear()
            deliveries_send()
            rest = seconds_to_next()
            if rest is not None and rest <= LONGEST_REST:
                _wake.wait(max(0.05, rest))
            elif _ended():
                return
    except Exception:
        _wake.clear()
        _ended()
        log.exception("webhooks could not be sent; the next change, or `benchquorum due`, tries again")
    finally:
        connections.close_all()


def _ended() -> bool:
    """Under the lock: whoever has something new either wakes this thread or starts the next."""
    global _thread
    with _starting:
        if _wake.is_set():
            return False
        _thread = None
        return True


def seconds_to_next() -> float | None:
    """Until the next delivery may be tried; None: none waits."""
    waiting = WebhookDelivery.objects.filter(
        state=WebhookDelivery.State.WAITING, webhook__paused_at=None, webhook__user__suspended_at=None
    ).order_by("next_at")
    at = waiting.values_list("next_at", flat=True).first()
    return None if at is None else max(0.0, (at - timezone.now()).total_seconds())
