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
        help="a later `audit --export`: accounts erased since the backup are erased again",
    )


def run(args: argparse.Namespace) -> int:
    from django.db import connection

    from registry.formats.audit_chain import read_chain
    from registry.immutability import missing
    from registry.services.audit import stored_faults
    from registry.services.backups import backup_restore
    from registry.services.erasures import erasures_repeat
    from registry.services.kept_bytes import changed_bytes

    manifest = backup_restore(path=args.file)
    rows = sum(count for count, _digest in manifest["tables"].values())
    wrong = [*missing(connection), *changed_bytes(), *stored_faults()]
    for line in wrong:
        print(f"wrong in this backup: {line}")
    if args.erased:
        lines = args.erased.read_text(encoding="utf-8").splitlines()
        print(f"{erasures_repeat(chain=read_chain(lines))} accounts erased again.")
    print(f"{rows} rows restored, made {manifest['made_at']}, equal row for row.")
    return 1 if wrong else 0
