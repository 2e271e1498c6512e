"""`benchquorum recompute`: refresh charts; with --verify, check that every revision comes out to the byte."""

from __future__ import annotations

import argparse
import sys

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--verify", action="store_true", help="recompute all revisions and compare the bytes")
    parser.add_argument("--snapshot", action="store_true", help="learn a new reliability snapshot first")


def run(args: argparse.Namespace) -> int:
    return _verify() if args.verify else _refresh(args.snapshot)


def _verify() -> int:
    from registry.models import ChartRevision
    from registry.services.charts import revision_verify

    counts = {"same": 0, "differs": 0, "other engine": 0}
    revisions = ChartRevision.objects.select_related("design", "snapshot").order_by("design", "number")
    for revision in revisions.iterator(chunk_size=50):
        verdict = revision_verify(revision)
        counts[verdict] += 1
        if verdict != "same":
            print(f"{revision.design.name}, revision {revision.number}: {verdict}", file=sys.stderr)
    print(
        f"{counts['same']} revisions recomputed to the same bytes, {counts['differs']} differ, "
        f"{counts['other engine']} were made by another version of the engine."
    )
    return 1 if counts["differs"] else 0


def _refresh(snapshot: bool) -> int:
    from registry.models import Design
    from registry.services.charts import chart_refresh
    from registry.services.snapshots import snapshot_learn

    if snapshot:
        snapshot_learn()
    designs = Design.objects.filter(sheets__isnull=False).distinct().order_by("pk")
    changed = [chart_refresh(design_id=pk) for pk in designs.values_list("pk", flat=True)]
    print(f"{len(changed)} designs computed, {sum(r is not None for r in changed)} new revisions.")
    return 0
