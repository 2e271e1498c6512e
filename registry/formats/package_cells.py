"""One value of a package as text of a CSV cell, and back.

A text that a spreadsheet would take for a formula is led by an apostrophe, and so is one that begins with an
apostrophe; whoever reads takes one off.  Empty text and no value are the same.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any

from registry.formats.safe_cells import FORMULA_SIGNS

LED = (*FORMULA_SIGNS, "'")


def cell_text(value: Any, kind: str) -> str:
    """
    >>> [cell_text(*pair) for pair in ((True, "boolean"), (0.4, "number"), ("=1", "string"), (None, "date"))]
    ['true', '0.4', "'=1", '']
    """
    if value is None:
        return ""
    if kind == "string":
        return "'" + value if value.startswith(LED) else str(value)
    if kind == "boolean":
        return "true" if value else "false"
    if kind in ("array", "object"):
        return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    if kind == "number":
        return repr(float(value))
    return time_text(value) if kind == "datetime" else str(value)


def cell_value(text: str, kind: str) -> Any:
    """
    >>> cell_value("'=1", "string"), cell_value("", "number"), cell_value("2.0", "number")
    ('=1', None, 2.0)
    """
    if kind == "string":
        return text[1:] if text.startswith("'") else text
    if text == "":
        return None
    if kind == "boolean":
        return {"true": True, "false": False}[text]
    if kind in ("array", "object"):
        return json.loads(text)
    if kind == "datetime":
        return datetime.fromisoformat(text)
    if kind == "date":
        return date.fromisoformat(text)
    return int(text) if kind == "integer" else float(text)


def time_text(moment: datetime) -> str:
    """In UTC, with whatever is below the second."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")
