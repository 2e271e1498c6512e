"""The shape of an error (RFC 9457), for the description."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers


class Fault(serializers.Serializer[Any]):
    """One thing that is wrong with a request."""

    code = serializers.CharField(help_text="A stable word")
    pointer = serializers.CharField(allow_blank=True, help_text="JSON Pointer (RFC 6901) into the body")
    detail = serializers.CharField(help_text="A sentence")
    advice = serializers.CharField(allow_blank=True, help_text="What to do about it")
    parameter = serializers.CharField(required=False, help_text="Of the query, where that is at fault")


class Problem(serializers.Serializer[Any]):
    """Problem details (RFC 9457)."""

    type = serializers.CharField(help_text="urn:benchquorum:problem: and the code")
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField(help_text="A stable word")
    detail = serializers.CharField(allow_blank=True)
    errors = Fault(many=True)  # type: ignore[assignment]
    more_errors = serializers.IntegerField(required=False, help_text="How many more are not listed")
