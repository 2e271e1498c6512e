"""The log of who did what: appended in the same transaction as the deed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from registry.models import AuditEntry, User


def record(
    *, by: User | None, action: str, target_kind: str, target_uuid: UUID | None, **detail: Any
) -> AuditEntry:
    """detail: ids and codes only, never a name, an address or free text about a person."""
    return AuditEntry.objects.create(
        actor_uuid=None if by is None else by.uuid,
        action=action,
        target_kind=target_kind,
        target_uuid=target_uuid,
        detail=detail,
    )
