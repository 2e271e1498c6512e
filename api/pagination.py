"""Cursor pages: stable while rows are being added, for they follow a key that never changes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param
from rest_framework.views import APIView

from api.problems import Failure
from api.whole_numbers import whole_number
from registry.translation import gettext as _

CURSOR = "^r?[0-9]{1,18}$"  # fits any primary key
_CURSOR = re.compile("(?P<back>r?)(?P<key>[0-9]{1,18})", re.ASCII)


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
        size = whole_number(asked, low=1, high=self.max_page_size)
        if size is None:
            raise Failure(
                400,
                "page_size_invalid",
                _("page_size is a whole number from 1 to {most}.").format(most=self.max_page_size),
            )
        return size

    def decode_cursor(self, request: Request) -> Cursor | None:
        """`r` where one goes backwards, and the key that the page begins after."""
        text = request.query_params.get("cursor")
        if text is None:
            return None
        found = _CURSOR.fullmatch(text)
        if found is None:
            raise Failure(
                400, "cursor_invalid", _("This cursor is not one of ours. Follow “next” as it was given.")
            )
        return Cursor(offset=0, reverse=bool(found["back"]), position=int(found["key"]))

    def encode_cursor(self, cursor: Cursor) -> str:
        text = f"{'r' if cursor.reverse else ''}{cursor.position}"
        return str(replace_query_param(self.base_url or "", "cursor", text))

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: APIView) -> tuple[str, ...]:
        return (self.ordering,) if isinstance(self.ordering, str) else tuple(self.ordering)


class NewestFirst(StablePages):
    ordering: Any = "-pk"


class BySheet(StablePages):
    """For rows that are written anew while their sheet stays."""

    ordering: Any = "sheet_id"


class ByDesign(StablePages):
    """For rows that are written anew while their design stays."""

    ordering: Any = "design_id"


def query_names(paginator: type[Any] | None) -> Sequence[str]:
    """The query parameters that a paginated address takes."""
    return ("cursor", "page_size") if paginator is not None else ()
