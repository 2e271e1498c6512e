"""`benchquorum identify FILE --against AGREED.json`: which switch is this, from its readings alone?"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Iterator, Mapping
from typing import Any

from registry.commands import against
from registry.commands.chart_text import wrapped
from registry.commands.output import ProgressLine, print_json, print_text
from registry.formats.figures import p_text
from registry.translation import gettext as _

Plain = Mapping[str, Any]
MOST_CANDIDATES = 5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    against.add_arguments(parser)
    parser.add_argument(
        "--pins",
        choices=["any", "as-read"],
        default="any",
        help="as-read: the pins are known to be numbered as the designs number them",
    )


def run(args: argparse.Namespace) -> int:
    from registry.bridge.parallel import processors
    from registry.bridge.unknowns import identify_document

    table, charts = against.read_both(args)
    looking = ProgressLine(_("looking"))
    document = identify_document(
        table, charts, as_read=args.pins == "as-read", progress=looking, workers=processors()
    )
    looking.close()
    if args.json:
        print_json(document)
    else:
        print_text(identify_lines(document, shutil.get_terminal_size().columns))
    return 0


def identify_lines(document: Plain, width: int) -> Iterator[str]:
    """Sheet by sheet the designs that it may be, likeliest first, with the pins where they were renamed."""
    for number, unit in enumerate(document["units"]):
        if number:
            yield ""
        yield unit["submission"]
        if not unit["candidates"]:
            yield _("  No design here reads like this.")
        for candidate in unit["candidates"][:MOST_CANDIDATES]:
            text = _("  - design {design}, variant {variant} ({p})").format(
                design=candidate["design"], variant=candidate["variant"], p=p_text(candidate["p"])
            )
            yield from wrapped(text + _renamed(candidate["pins"]), width, "    ")


def _renamed(pins: Mapping[str, str]) -> str:
    changed = [
        _("{read} is its {own}").format(read=read, own=own) for read, own in pins.items() if read != own
    ]
    return _("; pins as read: {names}").format(names=", ".join(changed)) if changed else ""
