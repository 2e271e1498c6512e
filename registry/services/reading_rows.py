"""Readings by the hundred thousand: rows straight into their table, without an object for each."""

from __future__ import annotations

from collections.abc import Iterable

from registry.models import Reading
from registry.services.plain_rows import rows_write

FIELDS = (
    "version",
    "place",
    "sweep",
    "turned",
    "as_typed",
    "kind",
    "low_ohm",
    "high_ohm",
    "limit_ohm",
    "lead_ohm",
    "first_pass",
)
ReadingRow = tuple[
    int, int, int, bool, str, str, float | None, float | None, float, float, bool
]  # in the order of FIELDS; version and place by id


def readings_write(rows: Iterable[ReadingRow]) -> None:
    """All of the rows or none, as `rows_write` does it."""
    rows_write(Reading, FIELDS, rows)
