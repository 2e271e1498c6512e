"""What a device keeps of a chart: its tables for a check, with revision and date; made once for each."""

from __future__ import annotations

import hashlib
from typing import Any
from uuid import UUID

from django.core.cache import cache

from registry.bridge.charts import ENGINE_VERSION
from registry.bridge.offline import tables_of
from registry.formats.offline_words import offline_words, withdrawn_words
from registry.models import Design
from registry.selectors.api_charts import RevisionHead, head_of_current, head_of_withdrawn
from registry.selectors.kept_charts import charts_shaped_like, published_chart
from registry.services.checks import learned_outcomes

Plain = dict[str, Any]
FORMAT = "benchquorum/offline/1"
TABLES = 2  # what is in them; another number makes them anew
KEPT = 7 * 86400  # s


def offline_chart(uuid: UUID) -> Plain | None:
    """The document that a page keeps; None: no such design, or it never had a chart.

    A withdrawn chart has no tables, only the word that it was withdrawn.  stale: its evidence has changed.
    """
    design = Design.objects.filter(uuid=uuid).first()
    head = None if design is None else head_of_current(uuid) or head_of_withdrawn(uuid)
    if design is None or head is None:
        return None
    document = {
        "format": FORMAT,
        "design": str(uuid),
        "name": design.name,
        "stale": design.stale,
        **_head(head),
    }
    chart = published_chart(design)
    if chart is None:
        gone = {"withdrawn": head.withdrawn_reason or "–", "tables": None, "words": withdrawn_words()}
        return {**document, **gone}
    others = charts_shaped_like(design)
    named = repr(
        (TABLES, head.content_sha256, [other.document["design"]["uuid"] for other in others], ENGINE_VERSION)
    )
    outcomes = learned_outcomes(design)
    named += repr(outcomes)
    named += repr([hashlib.sha256(repr(other.document["variants"]).encode()).hexdigest() for other in others])
    key = "offline-tables-" + hashlib.sha256(named.encode()).hexdigest()
    tables = cache.get(key)
    if tables is None:
        tables = tables_of(chart, others, outcomes)
        cache.set(key, tables, KEPT)
    return {**document, "withdrawn": None, "tables": tables, "words": offline_words(tables)}


def _head(head: RevisionHead) -> Plain:
    return {
        "revision": head.number,
        "published": head.published_at.date().isoformat(),
        "state": head.state,
        "digest": head.digest,
    }
