"""`benchquorum backup FILE`: the whole registry in one file, read again and compared."""

from __future__ import annotations

import argparse
from pathlib import Path

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path)
    parser.add_argument("--check", action="store_true", help="only check a backup that is there")


def run(args: argparse.Namespace) -> int:
    from registry.services.backups import backup_check, backup_make
    from registry.services.clock_runs import ended_well

    if args.check:
        manifest = backup_check(path=args.file)
    else:
        manifest = backup_make(path=args.file)
        ended_well(command="backup")
    rows = sum(count for count, _digest in manifest["tables"].values())
    print(f"{args.file}: {rows} rows, {len(manifest['files']) - 1} uploads, checked.")
    return 0
