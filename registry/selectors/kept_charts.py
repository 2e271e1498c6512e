"""Published charts as a check needs them: decoded once in each process, for a revision never changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from threading import RLock
from typing import Any, TypeVar

from cachetools import LRUCache
from django.db import connection
from django.db.models import QuerySet

from registry.bridge.checks import OtherDesign, OtherDesigns, StoredChart, other_of
from registry.models import ChartRevision, CurrentChart, Design

KEPT = 512  # decoded charts in each process: some 100 kB each
KEPT_OTHERS = 20_000  # what checks of other designs need of a chart: some 100 bytes each
KEPT_SHAPES = 64

PUBLISHED = ChartRevision.State.PUBLISHED
T = TypeVar("T")
Key = tuple[int, str]  # row of a revision, the start of its digest

# Published charts of a shape in one line, as `_key` reads them.  Each revision is looked up by its row: what
# joins the two tables may be planned as a comparison of all charts with all.
LISTED = """SELECT {joined}(word, ',') FROM (
    SELECT (SELECT r1.id || ':' || substr(r1.content_sha256, 1, 16) FROM registry_chartrevision r1
            WHERE r1.id = c1.revision_id AND r1.state = 'published') AS word
    FROM registry_currentchart c1 WHERE c1.shape_key = {shape} ORDER BY c1.revision_id) AS words"""


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


def others_shaped_like(design: Design) -> OtherDesigns:
    """The same for a check: stacked, the design's own among them, which the check leaves out.

    One query says which charts there are, in one row; while none of them changes, nothing else is done.
    """
    shape = CurrentChart.objects.filter(design=design).values_list("shape_key", flat=True).first()
    return others_listed(shape, _listed(shape) if shape else "")


def others_listed(shape: str | None, listed: str) -> OtherDesigns:
    """The same of a shape whose charts have been asked for already: the line that LISTED gives."""
    with _using:
        held = _stacks.get(shape) if shape else None
    if held is None or held[0] != listed:
        keys = [_key(word) for word in listed.split(",") if word]
        held = (listed, OtherDesigns(_others_kept(keys)))
        with _using:
            if shape:
                _stacks[shape] = held
    return held[1]


def shape_key(content: dict[str, Any]) -> str:
    """Equal where positions, pins and common of two charts are."""
    shape = [content["positions"], content["pins"], content["common"]]
    return hashlib.sha256(json.dumps(shape).encode()).hexdigest()[:32]


def _published() -> QuerySet[CurrentChart]:
    return CurrentChart.objects.filter(revision__state=PUBLISHED).order_by("design__name")


def _kept(charts: QuerySet[CurrentChart]) -> list[StoredChart]:
    """Two columns of each chart are asked for; the text of those not kept yet comes in one further query."""
    return _kept_of(
        [(pk, sha256[:16]) for pk, sha256 in charts.values_list("revision", "revision__content_sha256")]
    )


def chart_kept(key: Key) -> StoredChart:
    """The chart of a revision, which is there."""
    return _kept_of([key])[0]


def _kept_of(keys: list[Key]) -> list[StoredChart]:
    return _kept_in(_decoded, keys, StoredChart)


def _others_kept(keys: list[Key]) -> list[OtherDesign]:
    return _kept_in(_others, keys, other_of)


def _kept_in(cache: LRUCache[Key, T], keys: list[Key], made_of: Callable[[Any], T]) -> list[T]:
    """Of each revision what is made of its document, once."""
    with _using:
        held = {key: kept for key in keys if (kept := cache.get(key)) is not None}
    made = {key: made_of(json.loads(text)) for key, text in _texts(keys, held).items()}
    with _using:
        cache.update(made)
    held |= made
    return [held[key] for key in keys]


def _texts(keys: list[Key], held: dict[Key, Any]) -> dict[Key, bytes]:
    """Documents of those that are not held."""
    missing = [pk for pk, sha256 in keys if (pk, sha256) not in held]
    if not missing:
        return {}
    rows = ChartRevision.objects.filter(pk__in=missing).values_list("pk", "content_sha256", "content")
    return {(pk, sha256[:16]): bytes(content) for pk, sha256, content in rows.iterator(chunk_size=200)}


def _listed(shape: str) -> str:
    """Published charts of a shape in one line, as `_key` reads them.

    By hand: a thousand rows as objects would cost more than the check.
    """
    joined = "string_agg" if connection.vendor == "postgresql" else "group_concat"
    with connection.cursor() as cursor:
        cursor.execute(LISTED.format(shape="%s", joined=joined), [shape])
        (line,) = cursor.fetchone()
    return line or ""


def _key(word: str) -> Key:
    pk, sha256 = word.split(":")
    return int(pk), sha256


# Several threads of a server process use them at once.
_using = RLock()
_decoded: LRUCache[Key, StoredChart] = LRUCache(KEPT)
_others: LRUCache[Key, OtherDesign] = LRUCache(KEPT_OTHERS)
_stacks: LRUCache[str, tuple[str, OtherDesigns]] = LRUCache(KEPT_SHAPES)
