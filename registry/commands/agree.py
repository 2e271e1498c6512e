"""`benchquorum agree FILE`: the agreed pattern of each design of a tidy file, without a database."""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path

from registry.commands.chart_text import agreed_lines
from registry.commands.output import ProgressLine, print_pieces, print_text, say_warnings
from registry.commands.speed import all_for_speed
from registry.formats.tidy_reader import read_tidy
from registry.translation import gettext as _


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="READINGS.csv", help="tidy readings, one a line")
    parser.add_argument("--json", action="store_true", help="the agreed patterns as JSON, for “check”")


def run(args: argparse.Namespace) -> int:
    from registry.bridge.agreed import agree_document, agree_text
    from registry.bridge.parallel import processors

    with all_for_speed():
        reading = ProgressLine(_("reading the file"))
        table = read_tidy(args.file, progress=reading)
        reading.close()
        agreeing = ProgressLine(_("agreeing"))
        if args.json:
            pieces = list(agree_text(table, progress=agreeing, workers=processors()))
        else:
            document = agree_document(table, progress=agreeing, workers=processors())
        agreeing.close()
    say_warnings(table.warnings)
    if args.json:
        print_pieces(pieces)
    else:
        print_text(agreed_lines(document, shutil.get_terminal_size().columns))
    return 0
