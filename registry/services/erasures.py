"""Erasures that came after a backup was made are made again after it has been restored."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from registry.models import User
from registry.services.accounts import account_erase


def erasures_repeat(*, chain: Iterable[dict[str, Any]]) -> int:
    """chain: the published audit chain, exported after the backup.  How many accounts were erased."""
    erased = [
        UUID(str(entry["target_uuid"]))
        for entry in chain
        if entry.get("action") == "account_erase" and entry.get("target_uuid")
    ]
    accounts = User.objects.filter(contributor__uuid__in=erased)
    for account in accounts:
        account_erase(by=account)
    return len(accounts)
