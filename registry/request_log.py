"""Each request under an id of its own, in every line logged while it is answered; counted for /metrics.

A line is a JSON object.  Neither the address nor the account nor the query is logged: who searched for what
is nobody's business.  Nor is the token of a private link, nor the key of a mailed one: whoever reads the log
would have the link.
"""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from prometheus_client import Counter, Histogram

from registry.log_lines import request_id

HEADER = "X-Request-ID"
GIVEN = re.compile(r"[A-Za-z0-9._-]{8,64}")  # one that a proxy gave is taken over if it is fit to be printed
PLAIN_WORDS = ("form", "kind", "step", "what")  # parts of addresses that are words of ours
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")

log = logging.getLogger("registry.request")
REQUESTS = Counter("benchquorum_requests", "Requests answered", ["view", "method", "status"])
SECONDS = Histogram(
    "benchquorum_request_seconds",
    "Time to answer, s",
    ["view"],
    buckets=(0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10),
)


class RequestLog:
    """The outermost middleware."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        name = given if GIVEN.fullmatch(given) else uuid.uuid4().hex
        token = request_id.set(name)
        since = time.perf_counter()
        try:
            response = self.get_response(request)
            self._say(request, response.status_code, time.perf_counter() - since)
        finally:
            request_id.reset(token)
        response[HEADER] = name
        return response

    def _say(self, request: HttpRequest, status: int, seconds: float) -> None:
        match = request.resolver_match
        view = "none" if match is None else match.view_name or "unnamed"
        # a label is not for anybody to make
        method = request.method if request.method in METHODS else "other"
        REQUESTS.labels(view, method, status).inc()
        SECONDS.labels(view).observe(seconds)
        fields = {"view": view, "method": request.method, "status": status, "ms": round(seconds * 1000, 1)}
        log.info("%s %s", request.method, path_shown(request), extra={"fields": fields})


def path_shown(request: HttpRequest) -> str:
    """The path of a request without any words that were somebody's to know: tokens and keys of links.

    Ids and numbers stay.  Of a path that leads nowhere, which may be a link with a slash too few, only the
    beginning.
    """
    match = request.resolver_match
    if match is None:
        first, _slash, more = request.path.lstrip("/").partition("/")
        first = first if len(first) <= 40 else "…"
        return f"/{first}/…" if more else f"/{first}"
    shown = request.path
    for name, value in match.kwargs.items():
        if isinstance(value, str) and value and name not in PLAIN_WORDS:
            shown = shown.replace(value, "…")
    return shown


class HidesLinks(logging.Filter):
    """Lines of the framework about a request name its path: they get the one that may be shown."""

    def filter(self, record: logging.LogRecord) -> bool:
        request = getattr(record, "request", None)
        if request is not None and isinstance(record.args, tuple):
            told = {getattr(request, "path", None), _full_path(request)}
            record.args = tuple(
                path_shown(request) if isinstance(arg, str) and arg in told else arg for arg in record.args
            )
        return True


def _full_path(request: Any) -> str | None:
    return request.get_full_path() if isinstance(request, HttpRequest) else None
