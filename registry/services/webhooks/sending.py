"""Deliveries are cut from the feed with their bytes frozen, sent, tried again, and at last given up."""

from __future__ import annotations

import time
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryError
from registry.formats.canonical import canonical
from registry.formats.webhook_signature import signature
from registry.models import Change, Webhook, WebhookDelivery
from registry.selectors.changes import changes_after, newest_number
from registry.services.changes import changes_number
from registry.services.webhooks.keeping import webhook_key
from registry.services.webhooks.queue import queue_at, seconds_to_next
from registry.services.webhooks.targets import Unreachable, post, target_of

IN_ONE = 100  # changes of one delivery
AT_ONCE = 40  # deliveries of one task, which must end long before a worker is taken for stuck
# Seconds until the next try after the first, second, … failed one; after the last: a dead letter.
PAUSES = (10, 60, 300, 1800, 7200, 21600, 43200, 86400)
LEASE = timedelta(seconds=60)  # a process killed while it sends: tried again after so long
DEAD_TO_PAUSE = 20
KEPT_FOR = timedelta(days=30)
State = WebhookDelivery.State


def deliveries_send() -> int:
    """Cut what is new, send what is due; how many were tried."""
    changes_number()
    deliveries_cut()
    tried = 0
    while tried < AT_ONCE and (delivery := _claim()) is not None:
        _try(delivery)
        tried += 1
    WebhookDelivery.objects.filter(state=State.DELIVERED, created_at__lt=timezone.now() - KEPT_FOR).delete()
    return tried


def deliveries_task() -> None:
    """`deliveries_send` as the queue's workers run it: what waits for later has a task of its own."""
    deliveries_send()
    rest = seconds_to_next()
    if rest is not None:
        queue_at(timezone.now() + timedelta(seconds=rest))


def deliveries_cut() -> int:
    """Deliveries of all that the feed has and that a webhook has not seen; how many were made."""
    newest, made = newest_number(), 0
    behind = Webhook.objects.filter(paused_at=None, read_up_to__lt=newest, user__suspended_at=None)
    for pk in list(behind.values_list("pk", flat=True)):
        made += _cut(pk, newest)
    return made


@transaction.atomic
def _cut(pk: int, newest: int) -> int:
    webhook = Webhook.objects.select_for_update(no_key=True).filter(pk=pk, paused_at=None).first()
    if webhook is None or webhook.read_up_to >= newest:
        return 0
    wanted = changes_after(webhook.read_up_to, design=webhook.design_uuid).filter(number__lte=newest)
    if webhook.kinds:
        wanted = wanted.filter(kind__in=webhook.kinds)
    part: list[Change] = []
    deliveries = []
    for change in wanted.iterator(chunk_size=1000):
        part.append(change)
        if len(part) == IN_ONE:
            deliveries.append(_delivery(webhook, part))
            part = []
    if part:
        deliveries.append(_delivery(webhook, part))
    WebhookDelivery.objects.bulk_create(deliveries, batch_size=100)
    Webhook.objects.filter(pk=pk).update(read_up_to=newest)
    return len(deliveries)


def _delivery(webhook: Webhook, changes: list[Change]) -> WebhookDelivery:
    document = {
        "format": "benchquorum/webhook/1",
        "webhook": str(webhook.uuid),
        "results": [change_plain(change) for change in changes],
        "last": changes[-1].number,
    }
    return WebhookDelivery(
        webhook=webhook,
        first=changes[0].number or 0,
        last=changes[-1].number or 0,
        body=canonical(document).decode(),
        next_at=timezone.now(),
    )


def change_plain(change: Change) -> dict[str, Any]:
    """As the feed of the API shows it."""
    return {
        "number": change.number,
        "change": str(change.uuid),
        "origin": change.origin,
        "at": change.created_at.isoformat().replace("+00:00", "Z"),
        "kind": change.kind,
        "design": None if change.design_uuid is None else str(change.design_uuid),
        "payload": change.payload,
    }


def _claim() -> WebhookDelivery | None:
    """The next one that is due, held for this process alone."""
    now = timezone.now()
    due = WebhookDelivery.objects.filter(
        state=State.WAITING, next_at__lte=now, webhook__paused_at=None, webhook__user__suspended_at=None
    )
    for pk in due.order_by("next_at", "pk").values_list("pk", flat=True)[:10]:
        held = WebhookDelivery.objects.filter(pk=pk, state=State.WAITING, next_at__lte=now)
        if held.update(next_at=now + LEASE):
            return WebhookDelivery.objects.select_related("webhook").get(pk=pk)
    return None


def _try(delivery: WebhookDelivery) -> None:
    """One attempt; no transaction is open while the address is asked."""
    now = int(time.time())
    body = delivery.body.encode()
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Benchquorum-Webhook/1",
        "Webhook-Id": str(delivery.uuid),
        "Webhook-Timestamp": str(now),
        "Webhook-Signature": signature(webhook_key(delivery.webhook), str(delivery.uuid), now, body),
    }
    status, error = None, ""
    try:
        status = post(target_of(delivery.webhook.url), body, headers)
    except Unreachable as reason:
        error = reason.code
    except RegistryError:
        error = "address_refused"
    _note(delivery, status, error)


@transaction.atomic
def _note(delivery: WebhookDelivery, status: int | None, error: str) -> None:
    arrived = status is not None and 200 <= status < 300
    delivery.tries += 1
    delivery.status, delivery.error, delivery.tried_at = status, error, timezone.now()
    if arrived:
        delivery.state = State.DELIVERED
    elif delivery.tries > len(PAUSES) or status == 410:  # 410: the receiver wants no more of it
        delivery.state = State.DEAD
    else:
        delivery.next_at = timezone.now() + timedelta(seconds=PAUSES[delivery.tries - 1])
    delivery.save(update_fields=["tries", "status", "error", "tried_at", "state", "next_at"])
    webhook = Webhook.objects.select_for_update(no_key=True).get(pk=delivery.webhook_id)
    if arrived:
        webhook.in_vain = 0
    elif delivery.state == State.DEAD:
        webhook.in_vain += 1
    if status == 410 or webhook.in_vain >= DEAD_TO_PAUSE:
        webhook.paused_at = timezone.now()
    webhook.save(update_fields=["in_vain", "paused_at"])
