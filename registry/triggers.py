"""Triggers of the database, made where they aren't there as they should be.

To make one on PostgreSQL, nobody may be using its table, and whoever comes meanwhile waits behind: with a
backup under way that would be everybody.  So one that is there unchanged is left alone, and no wait is long.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper

LOCK_SECONDS = 5

_POSTGRESQL = """
SELECT tgname, obj_description(oid, 'pg_trigger'), pg_get_triggerdef(oid)
FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'
"""
_FUNCTIONS = """
SELECT proname, array_agg(DISTINCT prosrc)
FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid WHERE NOT tgisinternal GROUP BY proname
"""
_SQLITE = "SELECT name, sql, '' FROM sqlite_master WHERE type = 'trigger'"


@dataclass(frozen=True)
class Trigger:
    """statement: what makes it, the same text each time."""

    name: str
    table: str
    statement: str


def put(connection: BaseDatabaseWrapper, cursor: Any, triggers: Iterable[Trigger]) -> list[str]:
    """Make those that are missing, switched off or other than their statement; names of what was made."""
    there = _there(connection, cursor)
    wanted = [trigger for trigger in triggers if not _is(connection, trigger, there.get(trigger.name))]
    if wanted:
        wait_briefly(connection, cursor)
    for trigger in wanted:
        drop(connection, cursor, trigger.name, trigger.table)
        cursor.execute(trigger.statement)
    if wanted and connection.vendor == "postgresql":
        there = _there(connection, cursor)
        for trigger in wanted:
            mark = _mark(trigger, there[trigger.name][1])
            cursor.execute(f"COMMENT ON TRIGGER {trigger.name} ON {trigger.table} IS '{mark}'")
    return [trigger.name for trigger in wanted]


def names_there(connection: BaseDatabaseWrapper) -> set[str]:
    """Names of all triggers that are there and switched on."""
    with connection.cursor() as cursor:
        return set(_there(connection, cursor))


def unlike_ours(connection: BaseDatabaseWrapper, triggers: Iterable[Trigger]) -> list[str]:
    """Names of those that are there, and aren't what their statement makes."""
    with connection.cursor() as cursor:
        there = _there(connection, cursor)
    found = [trigger for trigger in triggers if trigger.name in there]
    return [trigger.name for trigger in found if not _is(connection, trigger, there[trigger.name])]


def function_bodies(connection: BaseDatabaseWrapper) -> dict[str, list[str]]:
    """What the functions of a name do that triggers call; on PostgreSQL."""
    with connection.cursor() as cursor:
        cursor.execute(_FUNCTIONS)
        return dict(cursor.fetchall())


def drop(connection: BaseDatabaseWrapper, cursor: Any, name: str, table: str) -> None:
    on = f" ON {table}" if connection.vendor == "postgresql" else ""
    cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def wait_briefly(connection: BaseDatabaseWrapper, cursor: Any) -> None:
    """For the rest of the transaction: rather fail than let everybody wait behind us."""
    if connection.vendor == "postgresql":
        cursor.execute(f"SET LOCAL lock_timeout = '{LOCK_SECONDS}s'")


def _there(connection: BaseDatabaseWrapper, cursor: Any) -> dict[str, tuple[str, str]]:
    cursor.execute(_POSTGRESQL if connection.vendor == "postgresql" else _SQLITE)
    return {name: (kept, printed) for name, kept, printed in cursor.fetchall()}


def _is(connection: BaseDatabaseWrapper, trigger: Trigger, there: tuple[str, str] | None) -> bool:
    if there is None:
        return False
    kept, printed = there
    return kept == (_mark(trigger, printed) if connection.vendor == "postgresql" else trigger.statement)


def _mark(trigger: Trigger, printed: str) -> str:
    """Kept beside the trigger: a digest of its statement and of what the server makes of it."""
    return hashlib.sha256(f"{trigger.statement}\n{printed}".encode()).hexdigest()
