"""The log of who did what: appended in the same transaction as the deed, sealed into the chain after it.

Sealing is a short transaction of its own.  Were each entry chained where it is written, every transaction
that writes one would wait for the one before it to commit, and those that also hold a design could lock each
other out for good.  What a killed process left unsealed, the next deed or the worker's round seals.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from registry.formats.audit_chain import FIRST, ChainFault, chain_entry, chain_faults
from registry.models import AuditEntry, User
from registry.services.changes import change_of_deed

SEAL_LOCK = 0x62710001  # of PostgreSQL's advisory locks; SQLite has one writer at a time


def record(
    *, by: User | None, action: str, target_kind: str, target_uuid: UUID | None, **detail: Any
) -> AuditEntry:
    """detail: ids and codes only, never a name, an address or free text about a person."""
    entry = AuditEntry.objects.create(
        actor_uuid=None if by is None else by.uuid,
        action=action,
        target_kind=target_kind,
        target_uuid=target_uuid,
        detail=detail,
    )
    change_of_deed(action, target_uuid, detail)
    transaction.on_commit(chain_seal, robust=True)  # robust: the deed is done, whatever becomes of the seal
    return entry


@transaction.atomic
def chain_seal() -> int:
    """Chain every entry that is not yet; how many there were.  Two sealers never overlap."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [SEAL_LOCK])
    newest = AuditEntry.objects.exclude(number=None).order_by("-number").first()
    number, previous = (0, FIRST) if newest is None else (newest.number or 0, newest.hash)
    count = 0
    for entry in AuditEntry.objects.filter(number=None).order_by("pk"):
        number, count = number + 1, count + 1
        entry.number, entry.previous = number, previous
        entry.hash = previous = str(published_entry(entry)["hash"])
        entry.save(update_fields=["number", "previous", "hash"])
    return count


def published_entry(entry: AuditEntry) -> dict[str, Any]:
    """As published, its hash made anew from what is stored."""
    return chain_entry(
        number=entry.number or 0,
        at=entry.at,
        actor=None if entry.actor_uuid is None else str(entry.actor_uuid),
        salt=entry.salt,
        action=entry.action,
        target_kind=entry.target_kind,
        target_uuid=None if entry.target_uuid is None else str(entry.target_uuid),
        detail=entry.detail,
        previous=entry.previous,
    )


def published_chain() -> Iterator[dict[str, Any]]:
    """The sealed entries in order, with the hash that is stored."""
    for entry in AuditEntry.objects.exclude(number=None).order_by("number").iterator(chunk_size=1000):
        yield {**published_entry(entry), "hash": entry.hash}


def stored_faults() -> list[ChainFault]:
    """Where the stored log has been tampered with."""
    return list(chain_faults(published_chain()))
