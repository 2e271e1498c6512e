"""Moderators sign in with a second factor: without one they have no more rights than anybody else."""

from __future__ import annotations

from django.conf import settings

from registry.models import User


def second_factor_kept(user: User) -> bool:
    """Whether the account has one, or the registry asks for none (a demo, a development copy)."""
    if not settings.BENCHQUORUM_MODERATOR_MFA:
        return True
    from allauth.mfa.utils import is_mfa_enabled

    return bool(is_mfa_enabled(user))
