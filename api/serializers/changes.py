"""A change as the feed shows it."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.models.changes import ChangeKind


class ChangeLine(serializers.Serializer[Any]):
    number = serializers.IntegerField(help_text="Its place in the order; no number is left out")
    change = serializers.UUIDField(source="uuid")
    origin = serializers.CharField(help_text="The registry in which it happened")
    at = serializers.DateTimeField(source="created_at")
    kind = serializers.ChoiceField(choices=ChangeKind.choices)
    design = serializers.UUIDField(source="design_uuid", allow_null=True)
    payload = serializers.DictField(help_text="What was so at the event; frozen")
