"""Charts as they go over the wire: stored bytes in a small envelope, joined and never re-serialised."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from registry.compression import takes_gzip
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
    zipped = takes_gzip(request)
    tags = (made.etag, f"{made.etag}.gz")  # other bytes, so another strong tag
    tag = tags[zipped]
    held = tag_held(request, tag, tags[not zipped])
    if held is not None:
        tag, response = held, HttpResponse(status=304)
    elif zipped:
        response = HttpResponse(made.zipped, content_type="application/json")
        response["Content-Encoding"] = "gzip"
    else:
        response = HttpResponse(made.plain, content_type="application/json")
    response["ETag"] = f'"{tag}"'
    response["Cache-Control"] = "public, no-cache"  # keep it, ask each time: it may have been withdrawn
    response["Vary"] = "Accept, Accept-Encoding"
    return response


def tag_held(request: HttpRequest, *tags: str) -> str | None:
    """The first of these tags that If-None-Match names; the form that would be sent comes first."""
    header = request.META.get("HTTP_IF_NONE_MATCH")
    if not header:
        return None
    named = {tag.strip().removeprefix("W/").strip('"') for tag in header.split(",")}
    return tags[0] if "*" in named else next((tag for tag in tags if tag in named), None)


def _time(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")
