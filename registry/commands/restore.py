"""`benchquorum restore FILE`: an empty registry is filled from a backup and compared with it row for row."""

from __future__ import annotations

import argparse
from pathlib import Path

NEEDS_DATABASE = True
MAKES_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path)
    parser.add_argument(
        "--erased",
        type=Path,
        metavar="CHAIN",
        help="a later copy of the published chain: accounts erased since the backup are erased again",
    )


def run(args: argparse.Namespace) -> int:
    from django.db import connection

    from registry.immutability import missing, unlike
    from registry.services.audit import stored_faults
    from registry.services.backups import backup_restore
    from registry.services.kept_bytes import changed_bytes

    restored = backup_restore(path=args.file, erased=args.erased)
    rows = sum(count for count, _digest in restored.manifest["tables"].values())
    wrong = [*missing(connection), *unlike(connection), *changed_bytes(), *stored_faults()]
    for line in wrong:
        print(f"wrong in this backup: {line}")
    if args.erased:
        print(f"{restored.erased} accounts erased again.")
    print(f"{rows} rows restored, made {restored.manifest['made_at']}, equal row for row.")
    return 1 if wrong else 0
