"""`benchquorum pull URL`: follow another registry: a read-only mirror of it, or its sheets beside one's own.

Run it as often as you like: it goes on where it was.  Exit status 1: something could not be taken over.
"""

from __future__ import annotations

import argparse

from registry.commands.output import warn
from registry.translation import gettext as _

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("url", help="address of the registry, like https://registry.example/")
    parser.add_argument(
        "--exchange", action="store_true", help="take designs and sheets only; charts are computed here"
    )
    parser.add_argument("--private", action="store_true", help="the registry is in your own network")


def run(args: argparse.Namespace) -> int:
    from registry.services.mirrors.following import pull

    pulled = pull(args.url, exchange=args.exchange, private=args.private)
    print(_("{taken} designs taken over, {same} unchanged.").format(taken=pulled.taken, same=pulled.same))
    print(
        _("{sheets} new sheets, {charts} new charts; up to change {n}.").format(
            sheets=pulled.sheets, charts=pulled.charts, n=pulled.up_to
        )
    )
    if pulled.went_back:
        warn(_("Its feed of changes went back, as after a restore: every design was asked for anew."))
    for design, why in pulled.bad.items():
        warn(_("design {design} was skipped: {why}").format(design=design, why=why))
    return 1 if pulled.bad else 0
