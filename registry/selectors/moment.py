"""Many queries that see the database as it is at one moment."""

from __future__ import annotations

from django.db import connection


def one_moment() -> None:
    """All tables as they are at one moment; the first query of the transaction comes after."""
    if connection.vendor == "postgresql" and not connection.needs_rollback and not _nested():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def _nested() -> bool:
    return bool(connection.savepoint_ids)
