"""A whole number from 1 in an address, of a length that every database can hold."""

from __future__ import annotations


class NumberConverter:
    regex = "[1-9][0-9]{0,9}"

    def to_python(self, value: str) -> int:
        return int(value)

    def to_url(self, value: int) -> str:
        return str(value)
