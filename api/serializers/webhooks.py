"""Webhooks and deliveries as their owner sees them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.models.changes import ChangeKind
from registry.models.webhooks import DeliveryState


class WebhookLine(serializers.Serializer[Any]):
    webhook = serializers.UUIDField(source="uuid")
    url = serializers.CharField()
    kinds = serializers.ListField(
        child=serializers.ChoiceField(choices=ChangeKind.choices), help_text="Empty: all kinds"
    )
    design = serializers.UUIDField(source="design_uuid", allow_null=True)
    made = serializers.DateTimeField(source="created_at")
    paused = serializers.DateTimeField(source="paused_at", allow_null=True)
    read_up_to = serializers.IntegerField(help_text="Number of the feed up to which deliveries were made")
    waiting = serializers.IntegerField(help_text="Deliveries that will be tried, or tried again")
    dead = serializers.IntegerField(help_text="Deliveries that were given up")


class WebhookMade(WebhookLine):
    secret = serializers.CharField(help_text="Shown this once")


class DeliveryLine(serializers.Serializer[Any]):
    delivery = serializers.UUIDField(source="uuid", help_text="Its `Webhook-Id`, the same with each try")
    first = serializers.IntegerField()
    last = serializers.IntegerField()
    state = serializers.ChoiceField(choices=DeliveryState.choices)
    tries = serializers.IntegerField()
    made = serializers.DateTimeField(source="created_at")
    tried = serializers.DateTimeField(source="tried_at", allow_null=True)
    next_try = serializers.SerializerMethodField()
    status = serializers.IntegerField(allow_null=True, help_text="What the address answered")
    error = serializers.CharField(help_text="Why no answer came, as a word; empty where one came")

    def get_next_try(self, delivery: Any) -> str | None:
        """When it will be tried (again); null where it won't."""
        if delivery.state != DeliveryState.WAITING:
            return None
        return str(delivery.next_at.isoformat().replace("+00:00", "Z"))
