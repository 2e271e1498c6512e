"""Cursor pages: stable while rows are being added, for they follow a key that never changes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.views import APIView

from api.problems import Failure
from registry.translation import gettext as _

LARGEST_KEY = 2**63 - 1


class StablePages(CursorPagination):
    """Oldest first, by primary key."""

    ordering: Any = "pk"
    page_size = 50
    max_page_size = 200
    page_size_query_param = "page_size"
    offset_cutoff = 0  # the key is unique: there is never an offset to honour

    def get_page_size(self, request: Request) -> int:
        asked = request.query_params.get("page_size")
        if asked is None:
            return self.page_size
        if not (asked.isascii() and asked.isdigit()) or not 1 <= int(asked[:6]) <= self.max_page_size:
            raise Failure(
                400,
                "page_size_invalid",
                _("page_size is a whole number from 1 to {most}.").format(most=self.max_page_size),
            )
        return int(asked)

    def decode_cursor(self, request: Request) -> Cursor | None:
        refusal = Failure(
            400, "cursor_invalid", _("This cursor is not one of ours. Follow “next” as it was given.")
        )
        try:
            cursor = super().decode_cursor(request)
        except (NotFound, ValueError):
            raise refusal from None
        if cursor is None:
            if "cursor" in request.query_params:
                raise refusal
            return None
        key: str | None = cursor.position  # type: ignore[assignment]
        if key is not None and not (key.isascii() and key.isdigit() and int(key[:20]) <= LARGEST_KEY):
            raise refusal
        return cursor

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: APIView) -> tuple[str, ...]:
        return (self.ordering,) if isinstance(self.ordering, str) else tuple(self.ordering)


class NewestFirst(StablePages):
    ordering: Any = "-pk"


def query_names(paginator: type[Any] | None) -> Sequence[str]:
    """The query parameters that a paginated address takes."""
    return ("cursor", "page_size") if paginator is not None else ()
