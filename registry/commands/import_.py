"""`benchquorum import FILE.csv`: tidy readings become sheets, all of them or none.

A folder or a ZIP file is an open-data package, which an empty instance takes in whole.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from registry.commands.speed import all_for_speed

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, help="tidy readings (CSV), or an open-data package")
    parser.add_argument("--dry-run", action="store_true", help="only show what would happen")
    parser.add_argument("--json", action="store_true", help="say what happened as JSON")


def run(args: argparse.Namespace) -> int:
    if args.file.is_dir() or args.file.suffix.lower() == ".zip":
        return _load(args.file, args.dry_run)
    from registry.formats.tidy_reader import read_tidy
    from registry.services.imports.tidy_file import import_apply, import_plan

    with all_for_speed():
        table = read_tidy(args.file)
        for warning in table.warnings:
            print(warning, file=sys.stderr)
        plan = import_plan(table) if args.dry_run else import_apply(table, progress=_progress())
    if args.json:
        print(json.dumps(plan.as_dict(), ensure_ascii=False))
    else:
        _say(plan, args.dry_run)
    for error in plan.errors:
        print(f"line {error.line}: {error}" if error.line else error, file=sys.stderr)
    return 2 if plan.errors else 0


def _load(path: Path, dry_run: bool) -> int:
    from registry.errors import RegistryError
    from registry.services.packages.loading import package_load
    from registry.translation import gettext as _

    if dry_run:
        raise RegistryError(
            "option_alone",
            _("A package is loaded whole; there is nothing to try first."),
            _("Look at it with “benchquorum verify”."),
        )
    loaded = package_load(path)
    print(f"Loaded {loaded.designs} designs, {loaded.sheets} sheets, {loaded.charts} charts.")
    return 0


def _say(plan: object, dry_run: bool) -> None:
    facts = plan.as_dict()  # type: ignore[attr-defined]
    verb = "Would add" if dry_run else "Added"
    print(
        f"{verb} {facts['sheets_new']} sheets with {facts['readings_new']} readings, "
        f"{len(facts['designs_new'])} new designs, {facts['contributors_new']} new contributors. "
        f"{facts['sheets_known']} sheets were here already."
    )
    for name in facts["designs_extended"]:
        print(f"Design {name} gets pins or positions that it didn't have.")


def _progress():  # type: ignore[no-untyped-def]
    if not sys.stderr.isatty():
        return None

    def tell(what: str, done: int, of: int) -> None:
        end = "\n" if done == of else ""
        print(f"\r{done} of {of} {what}", end=end, file=sys.stderr, flush=True)

    return tell
