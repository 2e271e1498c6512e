"""What `check` and `identify` have in common: a file of sheets and a file of agreed patterns."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from registry.commands.output import ProgressLine, say_warnings
from registry.errors import RegistryErrors
from registry.formats.documents import AGREED, read_document
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable
from registry.translation import gettext as _

if TYPE_CHECKING:
    from registry.bridge.agreed import Charts


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="READINGS.csv", help="tidy readings, one a line")
    parser.add_argument(
        "--against",
        type=Path,
        required=True,
        metavar="AGREED.json|FILE.sqlite",
        help="agreed patterns: of “benchquorum agree … --json”, or of “benchquorum export --offline”",
    )
    parser.add_argument("--json", action="store_true", help="the result as JSON")


def read_both(args: argparse.Namespace) -> tuple[TidyTable, Charts]:
    """Both files; what is wrong with either is said in one go."""
    from registry.bridge.agreed import charts_from_document
    from registry.formats.offline_file import is_offline_file

    errors: list[RegistryErrors] = []
    table, charts = None, None
    reading = ProgressLine(_("reading the file"))
    try:
        table = read_tidy(args.file, progress=reading)
    except RegistryErrors as wrong:
        errors.append(wrong)
    reading.close()
    try:
        if is_offline_file(args.against):
            charts = _kept_charts(args.against, table)
        else:
            charts = charts_from_document(read_document(args.against, AGREED))
    except RegistryErrors as wrong:
        errors.append(wrong)
    if table is None or charts is None:
        raise RegistryErrors(
            [error for wrong in errors for error in wrong], more=sum(wrong.more for wrong in errors)
        )
    say_warnings(table.warnings)
    return table, charts


def _kept_charts(path: Path, table: TidyTable | None) -> Charts:
    """Charts of a file for work without a network; says their revisions, and whether they may be out of date.

    A sheet of a design whose chart was withdrawn is refused.
    """
    from registry.bridge.agreed import charts_from_stored
    from registry.formats.offline_file import read_offline_file, warnings_of, withdrawn_error

    about, kept = read_offline_file(path)
    named = (
        {} if table is None else {table.designs[one.design]: one.first_line for one in reversed(table.sheets)}
    )
    gone = [one for one in kept if one.state == "withdrawn"]
    wrong = [withdrawn_error(one, named[one.name]) for one in gone if one.name in named]
    if wrong:
        raise RegistryErrors(wrong)
    standing = [one for one in kept if one.state != "withdrawn"]
    say_warnings(warnings_of(about, [one for one in standing if one.name in named]))
    return charts_from_stored(one.content for one in standing)
