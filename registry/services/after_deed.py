"""What follows a deed, in a short transaction after its own: its changes get numbers, the log its seals.

Neither is done within the deed.  A number taken while the transaction is open would let a reader see 8 before
7 is committed and never learn of 7; and every deed would wait for the one before it to commit, so that those
that also hold a design could lock each other out for good.  What a killed process left over, the next deed,
the next reader or the worker's round makes up for.
"""

from __future__ import annotations

from typing import Any

from django.db import connection, transaction
from django.db.models import Max

from registry.formats.audit_chain import FIRST, chain_entry
from registry.models import AuditEntry, Change
from registry.services.webhooks.queue import queue_deliveries

# Of PostgreSQL's advisory locks, always taken in this order; SQLite has one writer at a time.
NUMBER_LOCK, SEAL_LOCK = 0x62710003, 0x62710001


class _Settling:
    """One for a transaction, however many deeds it holds."""

    def __init__(self) -> None:
        self.number = self.seal = self.done = False

    def run(self) -> None:
        self.done = True
        settle(number=self.number, seal=self.seal)


def settle_soon(*, number: bool = False, seal: bool = False) -> None:
    """After the transaction that is open, if it is not rolled back; number: changes, seal: the log."""
    settling = _registered()
    found = settling or _Settling()
    found.number, found.seal = found.number or number, found.seal or seal
    if settling is None:
        transaction.on_commit(found.run, robust=True)  # robust: the deed is done, whatever becomes of this


def _registered() -> _Settling | None:
    """One that no savepoint's end takes back before the present one's."""
    now = set(connection.savepoint_ids)
    for entry in connection.run_on_commit:
        savepoints, act = entry[:2]
        found = getattr(act, "__self__", None)  # registered is a method: Django's log asks its name
        if isinstance(found, _Settling) and not found.done and savepoints <= now:
            return found
    return None


def settle(*, number: bool, seal: bool) -> tuple[int, int]:
    """How many changes got a number, how many entries of the log a seal.  Two that settle never overlap."""
    with transaction.atomic():
        _hold([lock for lock, asked in ((NUMBER_LOCK, number), (SEAL_LOCK, seal)) if asked])
        numbered, sealed = _number() if number else 0, _seal() if seal else 0
    if numbered:
        queue_deliveries()
    return numbered, sealed


def _hold(locks: list[int]) -> None:
    if connection.vendor == "postgresql":
        asked = ", ".join(["pg_advisory_xact_lock(%s)"] * len(locks))
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {asked}", locks)


def _number() -> int:
    """No number is left out."""
    table = connection.ops.quote_name(Change._meta.db_table)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                f"""UPDATE {table} SET number = newest.number + due.nth
                FROM (SELECT COALESCE(MAX(number), 0) AS number FROM {table}) AS newest,
                    (SELECT id, ROW_NUMBER() OVER (ORDER BY id) AS nth
                        FROM {table} WHERE number IS NULL) AS due
                WHERE {table}.id = due.id"""  # noqa: S608  our own name
            )
            return int(cursor.rowcount)
    first = Change.objects.aggregate(newest=Max("number"))["newest"] or 0
    unnumbered = Change.objects.filter(number=None).order_by("pk").values_list("pk", flat=True)
    numbers = [(number, pk) for number, pk in enumerate(unnumbered, start=first + 1)]
    with connection.cursor() as cursor:
        cursor.executemany(f"UPDATE {table} SET number = %s WHERE id = %s", numbers)  # noqa: S608
    return len(numbers)


def _seal() -> int:
    """Each entry that is not yet in the chain, in the order in which they were written."""
    table = connection.ops.quote_name(AuditEntry._meta.db_table)
    # In plain SQL, since every deed asks this: the newest link of the chain, and what is to follow it.
    newest = f"SELECT MAX(number) FROM {table}"  # noqa: S608  our own name
    asked = f"SELECT * FROM {table} WHERE number IS NULL OR number = ({newest}) ORDER BY id"  # noqa: S608
    rows = list(AuditEntry.objects.raw(asked))
    number, previous = 0, FIRST
    for entry in rows:
        if entry.number is not None:
            number, previous = entry.number, entry.hash
    sealed = []
    for entry in rows:
        if entry.number is None:
            number += 1
            entry.number, entry.previous = number, previous
            previous = str(published_entry(entry)["hash"])
            sealed.append((number, entry.previous, previous, entry.pk))
    write = f"UPDATE {table} SET number = %s, previous = %s, hash = %s WHERE id = %s"  # noqa: S608
    with connection.cursor() as cursor:
        for values in sealed:
            cursor.execute(write, values)
    return len(sealed)


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
