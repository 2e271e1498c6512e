"""Addresses of programs that want to be told of changes, and what was, or could not be, delivered to each."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.people import User


class Webhook(PublicObject):
    """read_up_to: the number of the feed up to which deliveries have been made."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="webhooks")
    url = models.CharField(max_length=500)
    kinds = models.JSONField(default=list)  # empty: all
    design_uuid = models.UUIDField(null=True, blank=True)  # none: of every design
    secret_number = models.PositiveIntegerField(default=1)  # the secret follows from it and from no row
    read_up_to = models.PositiveBigIntegerField(default=0)
    paused_at = models.DateTimeField(null=True, blank=True)
    in_vain = models.PositiveIntegerField(default=0)  # dead letters since the last delivery that arrived

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"webhook {self.uuid}"


class DeliveryState(models.TextChoices):
    WAITING = "waiting"
    DELIVERED = "delivered"
    DEAD = "dead"


class WebhookDelivery(PublicObject):
    """Some changes of the feed, frozen as they will be sent, however often that takes."""

    State = DeliveryState

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    first = models.PositiveBigIntegerField()
    last = models.PositiveBigIntegerField()
    body = models.TextField()
    state = models.CharField(max_length=10, choices=DeliveryState, default=DeliveryState.WAITING)
    tries = models.PositiveIntegerField(default=0)
    next_at = models.DateTimeField()
    tried_at = models.DateTimeField(null=True, blank=True)
    status = models.PositiveSmallIntegerField(null=True, blank=True)  # what the address answered
    error = models.CharField(max_length=40, blank=True, default="")  # why there was no answer, as a code

    class Meta:
        ordering = ["pk"]
        constraints = [one_of("state", DeliveryState, "delivery_state_known")]
        indexes = [
            models.Index(
                fields=["next_at"], condition=models.Q(state=DeliveryState.WAITING), name="delivery_owed"
            )
        ]

    def __str__(self) -> str:
        return f"changes {self.first} to {self.last} for {self.webhook_id}"
