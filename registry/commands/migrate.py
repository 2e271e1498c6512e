"""`benchquorum migrate`: make the database, or bring it up to this version."""

from __future__ import annotations

import argparse

NEEDS_DATABASE = True
MAKES_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--quiet", action="store_true", help="say nothing")


def run(args: argparse.Namespace) -> int:
    from django.core.management import call_command

    call_command("migrate", interactive=False, verbosity=0 if args.quiet else 1)
    return 0
