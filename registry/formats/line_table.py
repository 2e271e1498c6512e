"""Lines of a list as a table (CSV): a column for each field, `a.b` for a field inside a field."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from registry.formats.safe_cells import safe_text


def line_table(columns: Sequence[str], lines: Iterable[Mapping[str, Any]]) -> str:
    """RFC 4180.  What is null stays empty; words of a list are joined by `; `; what goes deeper stays JSON.

    >>> line_table(["name", "chart.units", "pins"], [{"name": "=A", "chart": None, "pins": ["1", "2"]}])
    "name,chart.units,pins\\r\\n'=A,,1; 2\\r\\n"
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_cell(_inside(line, column)) for column in columns] for line in lines)
    return out.getvalue()


def _inside(line: Any, column: str) -> Any:
    for name in column.split("."):
        if line is None:
            return None
        line = line[name]
    return line


def _cell(value: Any) -> Any:
    """As a spreadsheet takes it: a text that it would take for a formula is led by an apostrophe."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list) and all(isinstance(item, str) for item in value):
        return safe_text("; ".join(value))
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return safe_text(value) if isinstance(value, str) else value
