"""`benchquorum verify PACKAGE`: charts, facts and lives of an open-data package made anew; no database."""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from registry.commands.output import ProgressLine, warn
from registry.translation import gettext as _

if TYPE_CHECKING:
    from registry.formats.package_files import Package

DIFFERS_STATUS = 1
MOST_NAMED = 50


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("package", type=Path, help="the folder or ZIP file that “export --package” wrote")


def run(args: argparse.Namespace) -> int:
    from registry.formats.package_files import Package

    with Package(args.package) as package:
        return _verify(package)


def _verify(package: Package) -> int:
    from registry.bridge import packages as bridge

    package.check_digests()
    total = max(sum(1 for _row in package.rows("charts")), 1)
    line = ProgressLine(_("computing charts"))
    counts: Counter[str] = Counter()
    for found in bridge.verify_package(package, lambda done: line(done / total)):
        counts[found.verdict] += 1
        for place in found.places:
            warn(_("{design}, revision {n} differs at {place}").format(
                design=found.design, n=found.revision, place=place
            ))  # fmt: skip
    line.close()
    print(
        _("{same} charts come out to the same bytes, {differs} differ.").format(
            same=counts[bridge.SAME], differs=counts[bridge.DIFFERS]
        )
    )
    if counts[bridge.OTHER_ENGINE]:
        print(_("{n} were made by another version of the engine.").format(n=counts[bridge.OTHER_ENGINE]))
    if counts[bridge.HELD_BACK]:
        print(
            _("{n} can't be computed: a sheet behind them was taken back by its contributor.").format(
                n=counts[bridge.HELD_BACK]
            )
        )
    return DIFFERS_STATUS if _figures_differ(package) or counts[bridge.DIFFERS] else 0


def _figures_differ(package: Package) -> bool:
    """Whether facts or units over time come out otherwise than they stand there; says so."""
    from registry.bridge.package_figures import verify_figures

    differ = False
    for found in verify_figures(package):
        print(
            _("{table}: {same} rows come out the same, {differs} differ.").format(
                table=found.table, same=found.same, differs=len(found.differs)
            )
        )
        for name in found.differs[:MOST_NAMED]:
            warn(_("{table} differs at {name}").format(table=found.table, name=name))
        differ = differ or bool(found.differs)
    return differ
