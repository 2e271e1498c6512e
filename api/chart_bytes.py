"""Charts as they go over the wire: stored bytes in a small envelope, joined and never re-serialised."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

from registry.selectors.api_charts import RevisionHead, revision_content

KEPT = 1024  # encoded charts kept in each process


@dataclass(frozen=True)
class Encoded:
    plain: bytes
    zipped: bytes


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
    return Encoded(plain, gzip.compress(plain, mtime=0))


def etag_of(head: RevisionHead) -> str:
    """Strong: the chart's digest, and what stands beside it in the envelope."""
    tail = "" if head.withdrawn_at is None else f"-{int(head.withdrawn_at.timestamp())}"
    return f"{head.digest}.{head.number}.{head.state}{tail}"


def chart_response(request: HttpRequest, design: UUID, head: RevisionHead) -> HttpResponse:
    """304 where the client has it; else the bytes, compressed once and kept so."""
    etag = etag_of(head)
    if holds(request, etag):
        response = HttpResponse(status=304)
        response["ETag"] = f'"{etag}"'
    else:
        made = encoded(design, head)
        if "gzip" in request.headers.get("Accept-Encoding", ""):
            response = HttpResponse(made.zipped, content_type="application/json")
            response["Content-Encoding"] = "gzip"
            response["ETag"] = f'"{etag}.gz"'  # other bytes, so another strong tag
        else:
            response = HttpResponse(made.plain, content_type="application/json")
            response["ETag"] = f'"{etag}"'
    response["Cache-Control"] = "public, no-cache"  # keep it, ask each time: it may have been withdrawn
    patch_vary_headers(response, ["Accept-Encoding"])
    return response


def holds(request: HttpRequest, etag: str) -> bool:
    """Whether If-None-Match names this chart, compressed or not."""
    header = request.headers.get("If-None-Match")
    if not header:
        return False
    named = {tag.strip().removeprefix("W/").strip('"').removesuffix(".gz") for tag in header.split(",")}
    return etag in named or "*" in named


def _time(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")
