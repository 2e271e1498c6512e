"""`benchquorum life UNITS.csv`: how long units last, by design and source class, without a database."""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from registry.commands.chart_text import wrapped
from registry.commands.output import ProgressLine, print_json, print_text, say_warnings
from registry.commands.speed import all_for_speed
from registry.formats.figures import share_text
from registry.formats.life_table import read_life
from registry.formats.life_words import class_text, ends_text, far_text
from registry.translation import gettext as _

Plain = Mapping[str, Any]
MOST_STEPS = 12  # lines of a curve


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="UNITS.csv", help="units over time, one a line")
    parser.add_argument("--json", action="store_true", help="the figures as JSON")


def run(args: argparse.Namespace) -> int:
    from registry.bridge.life import life_document

    with all_for_speed():
        reading = ProgressLine(_("reading the file"))
        table = read_life(args.file, progress=reading)
        reading.close()
        document = life_document(table)
    say_warnings(table.warnings)
    if args.json:
        print_json(document)
    else:
        print_text(life_lines(document, shutil.get_terminal_size().columns))
    return 0


def life_lines(document: Plain, width: int) -> Iterator[str]:
    """Group by group: the sentence, the lives, the curve; then the comparisons and what can't be said."""
    for group in document["groups"]:
        title = _("{design}, {class_name}").format(
            design=group["design"], class_name=class_text(group["class"])
        )
        yield title
        yield "=" * min(len(title), width)
        yield from wrapped(group["message"], width, "")
        yield from _figures(group)
        yield ""
    for comparison in document["comparisons"]:
        yield from wrapped(f"{comparison['design']}: {comparison['message']}", width)
    yield from wrapped(document["caution"], width)


def _figures(group: Plain) -> Iterator[str]:
    for name, share in (("b5_km", _("one in twenty failed by")), ("b10_km", _("one in ten failed by"))):
        if group[name] is not None:
            yield f"  {share}  {far_text(group[name]['estimate'])} ({ends_text(group[name])})"
    if group["weibull"] is not None:
        yield _("  Weibull: shape {shape:.2f}, scale {scale}").format(
            shape=group["weibull"]["shape"], scale=far_text(group["weibull"]["scale_km"])
        )
    steps = group["survival"]
    if len(steps) > MOST_STEPS:
        steps = [steps[round(n * (len(steps) - 1) / (MOST_STEPS - 1))] for n in range(MOST_STEPS)]
    for step in steps:
        still = _("still good {share} (95 %: {low} to {high})").format(
            share=share_text(step["s"]), low=share_text(step["low"]), high=share_text(step["high"])
        )
        yield f"  {far_text(step['km']):>12}  {still}"
