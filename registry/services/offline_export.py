"""All published charts in one file for work without a network; withdrawn ones are in it to say so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from registry.bridge.charts import ENGINE_VERSION
from registry.formats.offline_file import KeptChart, write_offline_file
from registry.formats.package_cells import time_text
from registry.models import ChartRevision, CurrentChart, PartNumber
from registry.selectors.changes import newest_number
from registry.selectors.moment import one_moment

State = ChartRevision.State


def export_offline(path: Path) -> int:
    """Write the file; how many charts are in it."""
    with transaction.atomic():
        one_moment()
        about = {
            "origin": settings.BENCHQUORUM_ORIGIN,
            "licence": settings.BENCHQUORUM_DATA_LICENCE,
            "engine": ENGINE_VERSION,
            "written": time_text(timezone.now()),
            "change": str(newest_number()),
            "caution": "A chart is evidence, never a certificate.",
        }
        return write_offline_file(path, about, _charts(), _parts())


def _charts() -> Iterator[KeptChart]:
    """The chart that readers are shown; where there is none any more, the newest that was withdrawn."""
    shown = CurrentChart.objects.order_by("design__uuid").values_list("revision", flat=True)
    current = set(shown)
    gone = (
        ChartRevision.objects.filter(state=State.WITHDRAWN)
        .exclude(design__current_chart__isnull=False)
        .order_by("design", "-number")
        .values_list("design", "pk")
    )
    newest: dict[int, int] = {}
    for design, pk in gone:
        newest.setdefault(design, pk)
    for pk in sorted(current | set(newest.values())):
        one = ChartRevision.objects.select_related("design").defer("inputs").get(pk=pk)
        yield KeptChart(
            design=str(one.design.uuid),
            name=one.design.name,
            revision=one.number,
            state=one.state,
            published="" if one.published_at is None else time_text(one.published_at),
            withdrawn=None if one.withdrawn_at is None else time_text(one.withdrawn_at),
            withdrawn_reason=one.withdrawn_reason,
            stale=one.design.stale,
            digest=one.digest,
            content=bytes(one.content),
        )


def _parts() -> Iterator[tuple[str, str, str]]:
    charted = PartNumber.objects.filter(designs__revisions__state__in=[State.PUBLISHED, State.WITHDRAWN])
    rows = charted.order_by("number").values_list("number", "key", "designs__uuid").distinct()
    for number, key, design in rows:
        yield number, key, str(design)
