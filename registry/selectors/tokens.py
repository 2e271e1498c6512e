"""The API tokens of an account, as its owner sees them: never the secret."""

from __future__ import annotations

from django.db.models import QuerySet

from registry.models import ApiToken, User


def tokens_of(user: User) -> QuerySet[ApiToken]:
    return ApiToken.objects.filter(user=user).order_by("-created")
