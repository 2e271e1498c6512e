"""No form brings characters that a database can't hold: a NUL ends a text for PostgreSQL.

The API's reader of JSON refuses them by itself (`api/parsers.py`); here stands the same for pages, for all
of them, whichever field is new.  Services that keep words look once more (`services/texts.py`).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest, HttpResponse

from registry.middleware import BeforeView
from registry.pages.errors import bad_request


class PlainForms(BeforeView):
    """After the check of forms, which has read the body already."""

    def refusal(self, request: HttpRequest, kwargs: dict[str, Any]) -> HttpResponse | None:
        if request.path_info.startswith("/api/"):
            return None
        in_address = any(isinstance(value, str) and "\0" in value for value in kwargs.values())
        return (
            bad_request(request) if in_address or (request.method == "POST" and _has_nul(request)) else None
        )


def _has_nul(request: HttpRequest) -> bool:
    words: Iterable[str] = (text for name, texts in request.POST.lists() for text in (name, *texts))
    return any("\0" in text for text in words)
