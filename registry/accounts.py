"""How accounts come about: a sign-up makes its contributor's pseudonym at once."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

from registry.models import Contributor, User
from registry.sign_in import address_tried_from


class AccountAdapter(DefaultAccountAdapter):
    def save_user(self, request: HttpRequest, user: User, form: Any, commit: bool = True) -> User:
        user = super().save_user(request, user, form, commit)
        if commit:
            Contributor.objects.get_or_create(user=user)
        return user

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        """Wrong words count by account and where they come from: else five of them, from anywhere, would keep
        the owner out for five minutes, again and again."""
        account = super()._get_login_attempts_cache_key(request, **credentials)
        return f"{account} {address_tried_from(request)}"
