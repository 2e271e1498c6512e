"""What holds for every answer under /api/: errors are problem documents, other sites may read."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from api.hot_charts import hot_answer
from api.problems import CONTENT_TYPE, problem, problem_response
from registry.translation import gettext as _

READ = ("GET", "HEAD")
EXPOSED = "ETag, Link, Retry-After, RateLimit, RateLimit-Policy, Idempotency-Replayed"


class ApiAnswers:
    """An error that never reached a view (bad host, no such address, CSRF) is a problem document too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.path_info.startswith("/api/"):
            return self.get_response(request)
        if request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers:
            return _preflight()
        response = hot_answer(request) or self.get_response(request)
        if response.status_code >= 400 and not response.get("Content-Type", "").startswith(CONTENT_TYPE):
            response = _as_problem(response)
        if request.method in READ:
            response["Access-Control-Allow-Origin"] = "*"  # what anybody may read, any page may read
            response["Access-Control-Expose-Headers"] = EXPOSED
        response["X-Content-Type-Options"] = "nosniff"
        return response


def _preflight() -> HttpResponse:
    """Pages of other sites may read, with a token or without; they may not write."""
    response = HttpResponse(status=204)
    response["Access-Control-Allow-Origin"] = "*"
    response["Access-Control-Allow-Methods"] = ", ".join(READ)
    response["Access-Control-Allow-Headers"] = "Authorization, Accept, If-None-Match"
    response["Access-Control-Max-Age"] = "86400"
    return response


def _as_problem(old: HttpResponse) -> HttpResponse:
    sentences = {
        400: ("unreadable", _("The request could not be read.")),
        403: ("permission_denied", _("This was refused.")),
        404: ("not_found", _("There is nothing at this address.")),
        411: (
            "length_required",
            _("Say how long the body is: a request without a Content-Length is not read."),
        ),
        413: ("too_large", _("This is too large to be taken in one go. Send it in parts.")),
    }
    default = ("unexpected", _("Something went wrong on our side. Nothing was changed."))
    code, sentence = sentences.get(old.status_code, default)
    response = problem_response(problem(old.status_code, code, sentence))
    for name in ("Allow", "Retry-After", "WWW-Authenticate"):
        if name in old:
            response[name] = old[name]
    return response
