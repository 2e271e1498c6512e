"""Lists as tables: the same lines as in JSON, one a row; the next page is in the Link header."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.renderers import BaseRenderer

from registry.formats.line_table import line_table


class CsvList(BaseRenderer):
    media_type, format, charset = "text/csv", "csv", "utf-8"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> str:
        view = (renderer_context or {})["view"]
        return line_table(columns_of(view.serializer_class()), data["results"])


def columns_of(line: serializers.Serializer[Any]) -> list[str]:
    """Of every field, there or not: all pages of a list have the same heads."""
    found = []
    for name, field in line.fields.items():
        inner = _described(line, field)
        inside = columns_of(inner) if isinstance(inner, serializers.Serializer) else []
        found += [f"{name}.{column}" for column in inside] or [name]
    return found


def _described(line: serializers.Serializer[Any], field: Any) -> Any:
    """What a field holds: of one that a method makes, what the description says of that method."""
    if not isinstance(field, serializers.SerializerMethodField):
        return field
    method = getattr(line, field.method_name or "")
    said = getattr(method, "_spectacular_annotation", {}).get("field")
    return said() if isinstance(said, type) else said
