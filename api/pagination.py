"""Cursor pages: stable while rows are being added."""

from __future__ import annotations

from rest_framework.pagination import CursorPagination


class StablePages(CursorPagination):
    ordering = "pk"
    page_size = 50
    max_page_size = 200
    page_size_query_param = "page_size"
