"""`benchquorum export`: sheets as typed (--tidy), units over time (--life), or all open data (--package)."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from registry.commands.output import warn
from registry.formats.life_words import selection_caution

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--tidy", type=Path, metavar="FILE", help="tidy readings; - for output")
    what.add_argument("--life", type=Path, metavar="FILE", help="units over time; - for output")
    what.add_argument(
        "--offline", type=Path, metavar="FILE.sqlite", help="all published charts, for work without a network"
    )
    what.add_argument(
        "--package",
        type=Path,
        metavar="FOLDER|FILE.zip",
        help="designs, charts, readings, decisions: open data",
    )
    parser.add_argument("--parquet", action="store_true", help="with --package: the tables as Parquet too")


def run(args: argparse.Namespace) -> int:
    if args.package:
        return _package(args.package, args.parquet)
    if args.offline:
        return _offline(args.offline)
    from registry.services.exports import export_tidy
    from registry.services.lives.export import export_lives

    if args.life:
        warn(selection_caution())
        return _write(args.life, export_lives())
    return _write(args.tidy, export_tidy())


def _write(path: Path, pieces: Iterator[str]) -> int:
    if str(path) == "-":
        sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
        for piece in pieces:
            sys.stdout.write(piece)
        return 0
    partial = path.with_name(path.name + ".part")  # a stopped export leaves no half file
    with partial.open("w", encoding="utf-8", newline="") as file:
        for piece in pieces:
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    partial.replace(path)
    return 0


def _package(path: Path, parquet: bool) -> int:
    from registry.services.packages.writing import export_package

    print(f"{path}: {export_package(path, parquet=parquet)}")
    return 0


def _offline(path: Path) -> int:
    from registry.services.offline_export import export_offline

    print(f"{path}: {export_offline(path)} charts")
    return 0
