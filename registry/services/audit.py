"""The log of who did what: appended within the deed, sealed into the chain after it (`after_deed`)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any
from uuid import UUID

from registry.formats.audit_chain import ChainFault, chain_faults
from registry.models import AuditEntry, Change, User
from registry.services.after_deed import published_entry, settle, settle_soon
from registry.services.changes import change_of_deed, changes_store


def record(
    *,
    by: User | None,
    action: str,
    target_kind: str,
    target_uuid: UUID | None,
    feed: Iterable[Change] | None = None,
    **detail: Any,
) -> AuditEntry:
    """detail: ids and codes only, never a name, an address or free text about a person.

    feed: what those who follow are told, where the deed has it at hand; else it is looked up.
    """
    entry = AuditEntry.objects.create(
        actor_uuid=None if by is None else by.uuid,
        action=action,
        target_kind=target_kind,
        target_uuid=target_uuid,
        detail=detail,
    )
    if feed is None:
        change_of_deed(action, target_uuid, detail)
    else:
        changes_store(feed)
    settle_soon(seal=True)
    return entry


def chain_seal() -> int:
    """Chain every entry that is not yet; how many there were."""
    return settle(number=False, seal=True)[1]


def published_chain(*, after: int = 0) -> Iterator[dict[str, Any]]:
    """The sealed entries in order, with the hash that is stored; after: the number from which on."""
    for entry in AuditEntry.objects.filter(number__gt=after).order_by("number").iterator(chunk_size=1000):
        yield {**published_entry(entry), "hash": entry.hash}


def stored_faults() -> list[ChainFault]:
    """Where the stored log has been tampered with."""
    return list(chain_faults(published_chain()))
