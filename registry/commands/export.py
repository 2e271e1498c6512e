"""`benchquorum export --tidy FILE.csv`: every sheet that counts, as typed, in the form that import reads."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--tidy", type=Path, required=True, metavar="FILE", help="where to write; - for output"
    )


def run(args: argparse.Namespace) -> int:
    from registry.services.exports import export_tidy

    if str(args.tidy) == "-":
        sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
        for piece in export_tidy():
            sys.stdout.write(piece)
        return 0
    partial = args.tidy.with_name(args.tidy.name + ".part")  # a stopped export leaves no half file
    with partial.open("w", encoding="utf-8", newline="") as file:
        for piece in export_tidy():
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    partial.replace(args.tidy)
    return 0
