"""Whole numbers of a query, read in full: one that is cut short is another number."""

from __future__ import annotations


def whole_number(text: str, *, low: int, high: int) -> int | None:
    """None where it isn't one, or lies outside; a text longer than `high` isn't read at all."""
    if text.isascii() and text.isdigit() and len(text) <= len(str(high)) and low <= int(text) <= high:
        return int(text)
    return None
