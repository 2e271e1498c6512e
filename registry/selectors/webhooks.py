"""A person's webhooks and what was delivered to each."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Count, Q, QuerySet

from registry.models import User, Webhook, WebhookDelivery

State = WebhookDelivery.State


def webhooks_of(user: User) -> QuerySet[Webhook]:
    """With the numbers of what waits and of what could not be delivered."""
    return (
        Webhook.objects.filter(user=user)
        .annotate(
            waiting=Count("deliveries", filter=Q(deliveries__state=State.WAITING)),
            dead=Count("deliveries", filter=Q(deliveries__state=State.DEAD)),
        )
        .order_by("pk")
    )


def webhook_named(user: User, uuid: UUID) -> Webhook | None:
    """One's own; nobody learns of another's."""
    return webhooks_of(user).filter(uuid=uuid).first()


def deliveries_of(webhook: Webhook) -> QuerySet[WebhookDelivery]:
    return WebhookDelivery.objects.filter(webhook=webhook)
