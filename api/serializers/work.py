"""A piece of work as whoever asked for it sees it."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.models.work import WorkKind, WorkState


class WorkLine(serializers.Serializer[Any]):
    work = serializers.UUIDField(source="uuid")
    kind = serializers.ChoiceField(choices=WorkKind.choices)
    state = serializers.ChoiceField(choices=WorkState.choices)
    asked = serializers.DateTimeField(source="created_at")
    started = serializers.DateTimeField(source="started_at", allow_null=True)
    ended = serializers.DateTimeField(source="ended_at", allow_null=True)
    answer = serializers.DictField(
        allow_null=True, help_text="What came of it; where refused: `errors`, each as in a problem"
    )
