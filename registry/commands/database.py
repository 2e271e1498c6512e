"""Whether the database is there and up to date, said before a command stumbles over it."""

from __future__ import annotations

from registry.errors import RegistryError
from registry.translation import gettext as _


def require_database() -> None:
    """Raise RegistryError unless the database answers, has all migrations, and its line is ours alone."""
    from django.db import DatabaseError, connection
    from django.db.migrations.executor import MigrationExecutor

    require_own_line()
    try:
        executor = MigrationExecutor(connection)
        behind = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError as error:
        raise _unreachable(error) from None
    if behind:
        raise RegistryError(
            "database_behind",
            _("The database is not made yet, or older than this version."),
            _("Run `benchquorum migrate` first."),
        )


def require_own_line() -> None:
    """Raise RegistryError where a pooler gives the line to others in between: see registry/poolers.py."""
    from django.db import DatabaseError, connection

    from registry.poolers import kept_for_us

    if connection.vendor != "postgresql":
        return
    try:
        connection.ensure_connection()
        with connection.wrap_database_errors:
            ours = kept_for_us(connection.connection)
    except DatabaseError as error:
        raise _unreachable(error) from None
    if not ours:
        raise RegistryError(
            "database_pooled",
            _("DATABASE_URL leads to a pooler that works by transaction."),
            _("Name the database itself or a pooler that works by session there, and this one in "
              "BENCHQUORUM_POOLER: the requests of servers may go through it."),
        )  # fmt: skip


def _unreachable(error: Exception) -> RegistryError:
    return RegistryError(
        "database_unreachable",
        _("The database does not answer: {error}.").format(error=(str(error).splitlines() or [""])[0]),
        _("Start it, or look at DATABASE_URL and BENCHQUORUM_DATA."),
    )
