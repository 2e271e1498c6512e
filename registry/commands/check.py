"""`benchquorum check FILE --against AGREED.json`: good or faulty, why, and what to measure next."""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Iterator, Mapping
from typing import Any

from registry.commands.against import add_arguments, read_both
from registry.commands.chart_text import wrapped
from registry.commands.output import ProgressLine, print_json, print_text, say_warnings
from registry.formats.figures import cell_text, state_text
from registry.translation import gettext as _

__all__ = ["add_arguments", "run"]

Plain = Mapping[str, Any]
MOST_CAUSES = 5
MOST_UNLIKE = 12
MOST_NEXT = 3
WORTH_SAYING = 0.02  # probability
WORTH_READING = 0.005  # bits


def run(args: argparse.Namespace) -> int:
    from registry.bridge.parallel import processors
    from registry.bridge.suspects import check_document

    table, charts = read_both(args)
    checking = ProgressLine(_("checking"))
    document, warnings = check_document(table, charts, progress=checking, workers=processors())
    checking.close()
    say_warnings(warnings)
    if args.json:
        print_json(document)
    else:
        commons = {name: chart.common for name, chart in charts.by_design.items()}
        print_text(check_lines(document, commons, shutil.get_terminal_size().columns))
    return 0


def check_lines(document: Plain, commons: Mapping[str, str | None], width: int) -> Iterator[str]:
    """Sheet by sheet: the verdict, what is unlike the pattern, the causes, what to measure next."""
    for number, check in enumerate(document["checks"]):
        if number:
            yield ""
        title = _("{submission} (design {design}").format(**check)
        if check["variant"] is not None:
            title += _(", variant {variant}").format(variant=check["variant"])
        yield title + ")"
        yield from wrapped(check["message"], width)
        yield from _detail_lines(check, commons.get(check["design"]), width)


def _detail_lines(check: Plain, common: str | None, width: int) -> Iterator[str]:
    for reading in check["unlike"][:MOST_UNLIKE]:
        text = _("{cell} reads {read}; {expected} in good units.").format(
            cell=cell_text(reading, common), read=reading["read"], expected=_expected(reading["expected"])
        )
        yield from wrapped("  - " + text[:1].upper() + text[1:], width, "    ")
    rest = len(check["unlike"]) - MOST_UNLIKE
    if rest > 0:
        yield _("  - and {count} more readings unlike the pattern").format(count=rest)
    for cause in [cause for cause in check["causes"] if cause["p"] >= WORTH_SAYING][:MOST_CAUSES]:
        yield from wrapped("  * " + cause["message"], width, "    ")
    for reading in [reading for reading in check["next"] if reading["bits"] >= WORTH_READING][:MOST_NEXT]:
        text = _("Measure next: {cell} ({bits:.2f} bits).").format(
            cell=cell_text(reading, common), bits=reading["bits"]
        )
        yield from wrapped("  > " + text, width, "    ")


def _expected(state: str) -> str:
    return state_text(state) if state in ("open", "closed", "resistive") else state
