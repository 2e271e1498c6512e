"""API tokens as their owner sees them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.services.tokens import SCOPES


class TokenLine(serializers.Serializer[Any]):
    token = serializers.CharField(source="token_key", help_text="Its first signs: enough to name it by")
    name = serializers.CharField()
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=SCOPES))
    made = serializers.DateTimeField(source="created")
    expires = serializers.DateTimeField(source="expiry", allow_null=True)
    last_used = serializers.DateTimeField(source="last_used_at", allow_null=True)


class TokenMade(TokenLine):
    secret = serializers.CharField(help_text="Shown this once; only its digest is kept")
