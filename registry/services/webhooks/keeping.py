"""Webhooks: a program's own address is told of changes.  Made, ended, given another secret, replayed."""

from __future__ import annotations

import hmac
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryError, refusal
from registry.formats.webhook_signature import secret_text
from registry.models import Change, Design, User, Webhook, WebhookDelivery
from registry.permissions import require
from registry.selectors.changes import newest_number
from registry.services.audit import record
from registry.services.changes import changes_number
from registry.services.fields import Fields
from registry.services.webhooks.queue import queue_deliveries
from registry.services.webhooks.targets import check_leads_out, target_of
from registry.translation import gettext as _

MOST = 10
State = WebhookDelivery.State


def webhook_make(*, by: User, body: Any) -> tuple[Webhook, str]:
    """The webhook and its secret, which is shown this once.  It begins with the next change.

    body: {"url", "kinds": [ … ], "design": id}; RegistryErrors with every fault, PermissionDenied.
    """
    require(by, "make_webhook")
    fields = Fields(body)
    url, kinds = fields.text("url", longest=500, needed=True), _kinds(fields)
    design = fields.id("design")
    if design is not None and not Design.objects.filter(uuid=design).exists():
        fields.wrong("design", "design_unknown", _("There is no design with this id."))
    if url:
        try:
            check_leads_out(
                target_of(url)
            )  # asks a name server: before the transaction, which may hold others up
        except RegistryError as error:
            fields.errors.append(error)
    if Webhook.objects.filter(user=by).count() >= MOST:
        fields.wrong("", "too_many_webhooks", _("You have {n} webhooks.").format(n=MOST), _("End one first."))
    fields.raise_all()
    with transaction.atomic():
        webhook = Webhook.objects.create(
            user=by, url=url, kinds=kinds, design_uuid=design, read_up_to=newest_number()
        )
        record(by=by, action="webhook_make", target_kind="webhook", target_uuid=webhook.uuid)
    return webhook, secret_text(webhook_key(webhook))


def _kinds(fields: Fields) -> list[str]:
    kinds = fields.body.get("kinds")
    kinds = [] if kinds is None else kinds
    if not isinstance(kinds, list) or not set(map(str, kinds)) <= set(Change.Kind.values):
        fields.wrong(
            "kinds",
            "word_unknown",
            _("There is a kind of change here that is not known."),
            _("Choose of: {words}.").format(words=", ".join(Change.Kind.values)),
        )
        return []
    return sorted({str(kind) for kind in kinds})


def webhook_key(webhook: Webhook) -> bytes:
    """The secret as bytes: made of the server's own key, so that no copy of the database holds it."""
    text = f"benchquorum.webhook.{webhook.uuid}.{webhook.secret_number}"
    return hmac.digest(settings.SECRET_KEY.encode(), text.encode(), "sha256")


@transaction.atomic
def webhook_secret(*, by: User, webhook: Webhook) -> str:
    """Another secret, shown this once; the one before it signs nothing more."""
    webhook = _own(by, webhook)
    webhook.secret_number += 1
    webhook.save(update_fields=["secret_number"])
    record(by=by, action="webhook_secret", target_kind="webhook", target_uuid=webhook.uuid)
    return secret_text(webhook_key(webhook))


@transaction.atomic
def webhook_end(*, by: User, webhook: Webhook) -> None:
    """Nothing more is sent, and what waited is dropped."""
    webhook = _own(by, webhook)
    record(by=by, action="webhook_end", target_kind="webhook", target_uuid=webhook.uuid)
    webhook.delete()


@transaction.atomic
def webhook_replay(*, by: User, webhook: Webhook, since: int) -> None:
    """Send all changes after a number once more, and go on where it was paused."""
    webhook = _own(by, webhook)
    changes_number()
    if not 0 <= since <= newest_number():
        message = _("“since” is a number of the feed, or 0 for all of it.")
        raise refusal("feed_not_there_yet", message, field="/since")
    webhook.read_up_to, webhook.paused_at, webhook.in_vain = since, None, 0
    webhook.save(update_fields=["read_up_to", "paused_at", "in_vain"])
    record(by=by, action="webhook_replay", target_kind="webhook", target_uuid=webhook.uuid, since=since)
    queue_deliveries()


@transaction.atomic
def delivery_replay(*, by: User, delivery: WebhookDelivery) -> WebhookDelivery:
    """Send one delivery again, the same bytes: a dead letter, or one that the receiver lost."""
    webhook = _own(by, delivery.webhook)
    Webhook.objects.filter(pk=webhook.pk).update(paused_at=None, in_vain=0)
    delivery = WebhookDelivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
    delivery.state, delivery.tries, delivery.next_at = State.WAITING, 0, timezone.now()
    delivery.save(update_fields=["state", "tries", "next_at"])
    queue_deliveries()
    return delivery


def _own(by: User, webhook: Webhook) -> Webhook:
    require(by, "make_webhook")
    return Webhook.objects.select_for_update(no_key=True).get(pk=webhook.pk, user=by)
