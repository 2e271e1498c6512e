"""`benchquorum migrate`: make the database, or bring it up to this version.

A server may be at work meanwhile: rather than let everybody wait behind a lock, it gives up after seconds.
"""

from __future__ import annotations

import argparse

from registry.errors import RegistryError
from registry.translation import gettext as _
from registry.triggers import LOCK_SECONDS

NO_LOCK = ("55P03", "40P01")  # of PostgreSQL: a lock was not to be had in time, or only by a deadlock
NEEDS_DATABASE = True
MAKES_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--quiet", action="store_true", help="say nothing")


def run(args: argparse.Namespace) -> int:
    from django.core.management import call_command
    from django.db import OperationalError, connection

    try:
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute(f"SET lock_timeout = '{LOCK_SECONDS}s'")
        call_command("migrate", interactive=False, verbosity=0 if args.quiet else 1)
    except OperationalError as error:
        if getattr(error.__cause__, "sqlstate", None) not in NO_LOCK:
            raise
        raise RegistryError(
            "table_in_use",
            _("A table was in use for longer than %(seconds)s seconds. What was being changed is as before.")
            % {"seconds": LOCK_SECONDS},
            _("Wait until the backup or the long query is over, then run “benchquorum migrate” again."),
        ) from error
    finally:
        connection.close()  # the next one waits as long as ever
    return 0
