"""`benchquorum recompute`: refresh charts; with --verify, check that every revision comes out to the byte.

With --snapshot the rates are learned anew first: at once, or, where there is a queue, by its workers.
"""

from __future__ import annotations

import argparse
import sys
from functools import partial

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
    from django.conf import settings

    from registry.services.snapshot_queue import snapshot_queue
    from registry.services.snapshots import snapshot_learn

    if snapshot and settings.TASKS_QUEUE != "immediate":
        snapshot_queue()
        print("Queued: a worker learns, then all of them compute what follows.")
        return 0
    if snapshot:
        snapshot_learn()
    return _compute()


def _compute() -> int:
    from registry.models import Design
    from registry.services.one_by_one import OneByOne

    designs = Design.objects.filter(sheets__isnull=False).distinct().order_by("pk")
    pks = list(designs.values_list("pk", flat=True))
    charts = OneByOne("designs")
    for pk in pks:
        charts.run(partial(_new, pk))
    print(f"{len(pks) - charts.failed} designs computed, {charts.done} new revisions.")
    if charts.failed:
        print(f"{charts.failed} designs failed, see the log.", file=sys.stderr)
    return 1 if charts.failed else 0


def _new(pk: int) -> int:
    from registry.services.charts import chart_refresh

    return int(chart_refresh(design_id=pk) is not None)
