"""Published charts as a check needs them: decoded once in each process, for a revision never changes."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.db.models import QuerySet

from registry.bridge.checks import StoredChart
from registry.models import ChartRevision, CurrentChart, Design

KEPT = 1024  # decoded charts in each process

PUBLISHED = ChartRevision.State.PUBLISHED


def published_chart(design: Design) -> StoredChart | None:
    """The chart that readers of the design are shown; None where there is none or it was withdrawn."""
    return next(iter(_kept(_published().filter(design=design))), None)


def published_charts() -> list[StoredChart]:
    """The charts that readers are shown now, by the names of their designs."""
    return _kept(_published())


def charts_shaped_like(design: Design) -> list[StoredChart]:
    """Published charts of other designs with the same positions, pins and common.

    A wrong part number on the label looks like a fault; only charts of the same shape can be mistaken.
    """
    shape = CurrentChart.objects.filter(design=design).values_list("shape_key", flat=True).first()
    return _kept(_published().filter(shape_key=shape).exclude(design=design)) if shape else []


def shape_key(content: dict[str, Any]) -> str:
    """Equal where positions, pins and common of two charts are."""
    shape = [content["positions"], content["pins"], content["common"]]
    return hashlib.sha256(json.dumps(shape).encode()).hexdigest()[:32]


def _published() -> QuerySet[CurrentChart]:
    return CurrentChart.objects.filter(revision__state=PUBLISHED).order_by("design__name")


def _kept(charts: QuerySet[CurrentChart]) -> list[StoredChart]:
    """Two columns of each chart are asked for; the text of those not kept yet comes in one further query."""
    keys = list(charts.values_list("revision", "revision__content_sha256"))
    missing = [revision for revision, sha256 in keys if (revision, sha256) not in _decoded]
    read = {}
    if missing:
        rows = ChartRevision.objects.filter(pk__in=missing).values_list("pk", "content_sha256", "content")
        read = {(pk, sha256): StoredChart(json.loads(bytes(content))) for pk, sha256, content in rows}
    found = [read.get(key) or _decoded[key] for key in keys]
    if len(_decoded) + len(read) > KEPT:
        _decoded.clear()
    _decoded.update(list(read.items())[:KEPT])
    return found


_decoded: dict[tuple[int, str], StoredChart] = {}
