"""Nobody sees a stack trace, not even where DEBUG is on, as it is in the demo."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from csp.utils import build_policy
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.outages import RETRY_SECONDS, TookTooLong, is_outage
from registry.request_log import path_shown

log = logging.getLogger("registry.errors")
security = logging.getLogger("registry.security")


# What stands there is somebody's own, or the desk's: no browser that others use too, and no proxy, keeps it.
PRIVATE = ("/account/", "/desk/", "/disputes/", "/fleet/", "/invitations/", "/jobs/", "/notices/", "/shared/",
           "/sheets/")  # fmt: skip


class Headers:
    """No other site's page may take in what is answered here; what concerns an account is kept nowhere.

    The policy of scripts is set here for what is answered before a view is asked: files, and kept charts.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.policy = build_policy()

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.setdefault("Content-Security-Policy", self.policy)
        if request.path.startswith(PRIVATE) and response.get("Cache-Control", "private") == "private":
            response["Cache-Control"] = "private, no-store"
        if request.path.startswith("/account/"):
            response["Cache-Control"] = "no-store"
        return response


class BeforeView:
    """Looks at a request once its view is known, and may answer in its place."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, args: Any, kwargs: dict[str, Any]
    ) -> HttpResponse | None:
        return self.refusal(request, kwargs)

    def refusal(self, request: HttpRequest, kwargs: dict[str, Any]) -> HttpResponse | None:
        """The answer instead of the view's; None: the view answers.  kwargs: what stands in the address."""
        raise NotImplementedError


class PlainErrors:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        unresolved = response.status_code == 404 and request.resolver_match is None
        if unresolved and not request.path.startswith("/api/"):
            return render(request, "404.html", status=404)
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        from django.core.exceptions import PermissionDenied, SuspiciousOperation
        from django.http import Http404

        if isinstance(exception, Http404):
            return render(request, "404.html", status=404)
        if isinstance(exception, PermissionDenied):
            security.warning("refused: %s %s", request.method, path_shown(request))
            said = {"reason": str(exception), "elsewhere": getattr(exception, "url", "")}  # of a copy
            return render(request, "403.html", said, status=403)
        if isinstance(exception, SuspiciousOperation):
            return render(request, "400.html", status=400)
        if is_outage(exception):
            log.error("the database or the disk refused at %s", path_shown(request), exc_info=exception)
            too_long = isinstance(exception, TookTooLong)
            refusal = render(request, "503.html", {"too_long": too_long}, status=503)
            refusal["Retry-After"] = str(RETRY_SECONDS)
            return refusal
        log.exception("unexpected error at %s", path_shown(request), exc_info=exception)
        return render(request, "500.html", status=500)
