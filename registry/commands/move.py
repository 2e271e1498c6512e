"""`benchquorum move --to URL`: all rows of the database in use into an empty one, compared row for row.

The database in use stays as it is.  Stop the server and its workers first, or what they write meanwhile is
lost.
"""

from __future__ import annotations

import argparse

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--to", required=True, metavar="URL", help="postgres://… or sqlite:////path")


def run(args: argparse.Namespace) -> int:
    from registry.services.audit import chain_seal
    from registry.services.database_copy import copy_all, database, migrate

    chain_seal()
    with database(args.to, "target") as target:
        migrate(target)
        tables = copy_all(source="default", target=target)
    rows = sum(count for count, _digest in tables.values())
    print(f"{rows} rows in {len(tables)} tables moved, equal row for row. Now set DATABASE_URL and start.")
    return 0
