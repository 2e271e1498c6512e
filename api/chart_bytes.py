"""Charts as they go over the wire: stored bytes in a small envelope, joined and never re-serialised."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from registry.selectors.api_charts import RevisionHead, current_head, revision_content
from registry.selectors.chart_watch import watch

KEPT = 4096  # encoded charts in each process: some 20 kB each


@dataclass(frozen=True)
class Encoded:
    plain: bytes
    etag: str
    revision: int  # its row

    @cached_property
    def zipped(self) -> bytes:
        """Compressed once, when somebody first asks for it."""
        return gzip.compress(self.plain, mtime=0)


@lru_cache(maxsize=KEPT)
def encoded(design: UUID, head: RevisionHead) -> Encoded:
    """The answer for a revision; kept by all that it depends on, so a change of any is another entry."""
    withdrawn = None
    if head.withdrawn_at is not None:
        withdrawn = {"at": _time(head.withdrawn_at), "reason": head.withdrawn_reason}
    envelope = {
        "design": str(design),
        "revision": head.number,
        "state": head.state,
        "published": _time(head.published_at),
        "withdrawn": withdrawn,
        "digest": head.digest,
        "content_sha256": head.content_sha256,
    }
    opening = json.dumps(envelope, separators=(",", ":")).encode()[:-1]
    plain = opening + b',"chart":' + revision_content(head.pk) + b"}"
    return Encoded(plain, etag_of(head), head.pk)


def current(design: UUID) -> Encoded | None:
    """The answer for the chart that is shown.

    Which revision that is, is asked each time, or where changes are told to this process, after each change.
    """
    head = watch.known(design)
    if head is None:
        heard = watch.heard
        found = current_head(design)
        if found is None:
            return None
        watch.keep(design, found, heard)
        head = found.head
    return encoded(design, head)


def etag_of(head: RevisionHead) -> str:
    """Strong: the chart's digest, and what stands beside it in the envelope."""
    tail = "" if head.withdrawn_at is None else f"-{int(head.withdrawn_at.timestamp())}"
    return f"{head.digest}.{head.number}.{head.state}{tail}"


def chart_response(request: HttpRequest, made: Encoded) -> HttpResponse:
    """304 where the client has it; else the bytes, compressed once and kept so."""
    if holds(request, made.etag):
        response = HttpResponse(status=304)
        response["ETag"] = f'"{made.etag}"'
    elif "gzip" in request.META.get("HTTP_ACCEPT_ENCODING", ""):
        response = HttpResponse(made.zipped, content_type="application/json")
        response["Content-Encoding"] = "gzip"
        response["ETag"] = f'"{made.etag}.gz"'  # other bytes, so another strong tag
    else:
        response = HttpResponse(made.plain, content_type="application/json")
        response["ETag"] = f'"{made.etag}"'
    response["Cache-Control"] = "public, no-cache"  # keep it, ask each time: it may have been withdrawn
    response["Vary"] = "Accept, Accept-Encoding"
    return response


def holds(request: HttpRequest, etag: str) -> bool:
    """Whether If-None-Match names this chart, compressed or not."""
    header = request.META.get("HTTP_IF_NONE_MATCH")
    if not header:
        return False
    named = {tag.strip().removeprefix("W/").strip('"').removesuffix(".gz") for tag in header.split(",")}
    return etag in named or "*" in named


def _time(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")
