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

from django.http import HttpRequest, HttpResponse
from django.utils.encoding import escape_uri_path
from prometheus_client import Counter, Histogram

from registry.log_lines import request_id

HEADER = "X-Request-ID"
GIVEN = re.compile(r"[A-Za-z0-9._-]{8,64}")  # one that a proxy gave is taken over if it is fit to be printed
PLAIN_WORDS = ("form", "kind", "step", "what")  # parts of addresses that are words of ours
REFERER = re.compile(  # in a reason why a form was refused: the page that it was sent from
    r"^(Referer checking failed - [^/?#\s]*//)(?:[^/?#]*@)?([^/?#]*)"
    r".*?( does not match any trusted origins\.)?$",
    re.DOTALL,
)
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
    for word in _hidden(request):
        shown = shown.replace(word, "…")
    return shown


def _hidden(request: HttpRequest) -> list[str]:
    """The words of its path that were somebody's to know; longer ones first, for one may hold another."""
    match = request.resolver_match
    kwargs = {} if match is None else match.kwargs
    words = {
        value
        for name, value in kwargs.items()
        if isinstance(value, str) and value and name not in PLAIN_WORDS
    }
    return sorted(words, key=len, reverse=True)


class HidesLinks(logging.Filter):
    """Lines of the framework about a request name its path: they get the one that may be shown.

    So do paths and words of theirs within a longer text, and those that the framework wrote in ASCII; of the
    page that a refused form came from, its origin stays.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        request = getattr(record, "request", None)
        if isinstance(request, HttpRequest) and isinstance(record.args, tuple):
            record.args = tuple(
                _text_shown(request, arg) if isinstance(arg, str) else arg for arg in record.args
            )
        return True


def _text_shown(request: HttpRequest, text: str) -> str:
    text = REFERER.sub(r"\1\2\3", text)
    path = path_shown(request)
    for told in (request.get_full_path(), request.path):
        for form in _forms(told):
            text = text.replace(form, path)
    for word in _hidden(request):
        for form in _forms(word):
            text = text.replace(form, "…")
    return text


def _forms(text: str) -> set[str]:
    """As it is, as in an address, and as `django.utils.log.log_response` writes it."""
    told = (text, escape_uri_path(text), text.encode("unicode_escape").decode("ascii"))
    return {form for form in told if form}
