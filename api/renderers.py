"""Other forms of a chart, chosen by Accept.  They only name the form; `registry.formats` makes it."""

from __future__ import annotations

from typing import Any

from rest_framework.renderers import BaseRenderer


class _AsMade(BaseRenderer):
    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> Any:
        return data


class CsvForm(_AsMade):
    media_type, format, charset = "text/csv", "csv", "utf-8"


class SvgForm(_AsMade):
    media_type, format, charset = "image/svg+xml", "svg", "utf-8"


class PdfForm(_AsMade):
    media_type, format, charset = "application/pdf", "pdf", None
