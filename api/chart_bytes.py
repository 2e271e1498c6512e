"""Charts as they go over the wire: stored bytes in a small envelope, joined and never re-serialised."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from registry.selectors.api_charts import RevisionHead, current_key, head_of_current, revision_content

KEPT = 1024  # encoded charts kept in each process


@dataclass(frozen=True)
class Encoded:
    plain: bytes
    zipped: bytes
    etag: str
    revision: int  # its row


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
    return Encoded(plain, gzip.compress(plain, mtime=0), etag_of(head), head.pk)


def current(design: UUID) -> Encoded | None:
    """The answer for the chart that is shown, kept under a key that any change of it changes."""
    key = current_key(design)
    if key is None:
        return None
    made = _kept.get(key)
    if made is None:
        head = head_of_current(design)
        if head is None:
            return None
        made = encoded(design, head)
        if current_key(design) == key:  # nobody published in between
            if len(_kept) >= KEPT:
                _kept.clear()
            _kept[key] = made
    return made


_kept: dict[tuple[Any, ...], Encoded] = {}


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
