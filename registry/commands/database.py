"""Whether the database is there and up to date, said before a command stumbles over it."""

from __future__ import annotations

from registry.errors import RegistryError
from registry.translation import gettext as _


def require_database() -> None:
    """Raise RegistryError unless the database answers and has all migrations."""
    from django.db import DatabaseError, connection
    from django.db.migrations.executor import MigrationExecutor

    try:
        executor = MigrationExecutor(connection)
        behind = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError as error:
        raise RegistryError(
            "database_unreachable",
            _("The database does not answer: {error}.").format(error=str(error).splitlines()[0]),
            _("Start it, or look at DATABASE_URL and BENCHQUORUM_DATA."),
        ) from None
    if behind:
        raise RegistryError(
            "database_behind",
            _("The database is not made yet, or older than this version."),
            _("Run `benchquorum migrate` first."),
        )
