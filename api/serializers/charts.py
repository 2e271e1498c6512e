"""Lists of charts and of revisions; a chart itself is stored bytes and needs no serializer."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.designs import ChartFigures


class ChartLine(ChartFigures):
    """The current chart of a design."""

    design = serializers.UUIDField(source="design.uuid")
    name = serializers.CharField(source="design.name", help_text="The design's name")
    state = serializers.ChoiceField(choices=["published", "withdrawn"], source="revision.state")


class RevisionLine(serializers.Serializer[Any]):
    revision = serializers.IntegerField(source="number")
    design = serializers.UUIDField(source="design.uuid")
    state = serializers.ChoiceField(choices=["published", "withdrawn"])
    published = serializers.DateTimeField(source="published_at")
    withdrawn = serializers.DateTimeField(source="withdrawn_at", allow_null=True)
    withdrawn_reason = serializers.CharField(allow_blank=True)
    digest = serializers.CharField(help_text="SHA-256 of the inputs")
    content_sha256 = serializers.CharField(help_text="SHA-256 of the stored bytes of `chart`")
