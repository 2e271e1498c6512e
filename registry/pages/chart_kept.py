"""The chart's page as guests see it, kept: the page that must be quick is made once for each chart.

What it was made from is asked for in one query each time, so a new revision is seen at once; what else the
catalogue says of the design (its vehicles, its part numbers) may lag by a minute.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import wraps
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.translation import get_language

from registry.pages.preferences import distance_unit
from registry.selectors.chart_page import made_from
from registry.sessions import MESSAGES_COOKIE

KEPT = 60  # s
MERGED = 3  # place of the design that this one went into, among what the page was made from
View = Callable[[HttpRequest, UUID], HttpResponse]


def kept_for_guests(view: View) -> View:
    """For a view of a design; people with a session, and addresses with a query, get a fresh page."""

    @wraps(view)
    def kept(request: HttpRequest, uuid: UUID) -> HttpResponse:
        if request.method != "GET" or request.META.get("QUERY_STRING") or _known(request):
            return view(request, uuid)
        made = made_from(uuid)
        if made is None:
            return view(request, uuid)
        key = _key("chart-page-", request, uuid, made)
        content = cache.get(key)
        if content is None:
            response = view(request, uuid)
            if response.status_code == 200:
                cache.set(key, response.content, KEPT)
            return response
        return HttpResponse(content)

    return kept


def kept_pieces(request: HttpRequest, uuid: UUID, made_now: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """Of the page of somebody who signed in, all that is the same for everybody; {} where it isn't now.

    What stands between the two pieces, how this person follows the design, is theirs.  made_now: the context
    that both are made from, asked for where they are not kept.
    """
    made = made_from(uuid) if request.method == "GET" and not request.META.get("QUERY_STRING") else None
    if made is None or made[MERGED] is not None:
        return {}
    key = _key("chart-pieces-", request, uuid, made)
    pieces: dict[str, Any] | None = cache.get(key)
    if pieces is None:
        context = made_now()
        pieces = {
            name: render_to_string(f"technician/chart.html#{name}", context, request)
            for name in ("head", "rest")
        }
        pieces |= {"name": context["design"].name, "charted": bool(context["variant"])}
        cache.set(key, pieces, KEPT)
    return pieces


def _key(kind: str, request: HttpRequest, uuid: UUID, made: Any) -> str:
    parts = repr((uuid, made, get_language(), distance_unit(request), request.scheme, request.get_host()))
    return kind + hashlib.sha256(parts.encode()).hexdigest()


def _known(request: HttpRequest) -> bool:
    """Somebody whose page could hold more than everybody's: a session, or a message that waits."""
    return settings.SESSION_COOKIE_NAME in request.COOKIES or MESSAGES_COOKIE in request.COOKIES
