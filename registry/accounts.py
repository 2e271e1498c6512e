"""How accounts come about: a sign-up makes its contributor's pseudonym at once."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

from registry.models import Contributor, User


class AccountAdapter(DefaultAccountAdapter):
    def save_user(self, request: HttpRequest, user: User, form: Any, commit: bool = True) -> User:
        user = super().save_user(request, user, form, commit)
        if commit:
            Contributor.objects.get_or_create(user=user)
        return user
