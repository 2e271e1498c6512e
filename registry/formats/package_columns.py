"""What a table of an open-data package is: columns with their types, as Table Schema says it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Plain = dict[str, Any]


@dataclass(frozen=True)
class Column:
    """kind: a type of Table Schema; needed: no row is without it; later: older packages are without it, and
    it stands last in its table."""

    name: str
    kind: str
    says: str
    needed: bool = False
    choices: tuple[str, ...] = ()
    later: bool = False

    def schema(self) -> Plain:
        plain: Plain = {"name": self.name, "type": self.kind, "description": self.says}
        rules: Plain = {"required": True} if self.needed else {}
        if self.choices:
            rules["enum"] = list(self.choices)
        return {**plain, "constraints": rules} if rules else plain


@dataclass(frozen=True)
class Table:
    """key: columns that name a row; refers: (column, table, its column that is named); later: older
    packages are without it."""

    name: str
    says: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    refers: tuple[tuple[str, str, str], ...] = ()
    later: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    @property
    def first_columns(self) -> tuple[Column, ...]:
        """Those that even the oldest packages have."""
        return tuple(column for column in self.columns if not column.later)

    def schema(self) -> Plain:
        plain: Plain = {
            "fields": [column.schema() for column in self.columns],
            "missingValues": [""],
            "primaryKey": list(self.key),
        }
        if self.refers:
            plain["foreignKeys"] = [
                {"fields": [column], "reference": {"resource": table, "fields": [first]}}
                for column, table, first in self.refers
            ]
        return plain


def text(name: str, says: str, *choices: str, needed: bool = False) -> Column:
    return Column(name, "string", says, needed, choices)


def name_of(name: str, says: str) -> Column:
    return Column(name, "string", says, True)


def count(name: str, says: str, needed: bool = True) -> Column:
    return Column(name, "integer", says, needed)


def figure(name: str, says: str, needed: bool = False) -> Column:
    return Column(name, "number", says, needed)


def yes(name: str, says: str) -> Column:
    return Column(name, "boolean", says, True)


def time(name: str, says: str) -> Column:
    return Column(name, "datetime", says)


def many(name: str, says: str) -> Column:
    return Column(name, "array", says, True)


def thing(name: str, says: str, needed: bool = False) -> Column:
    return Column(name, "object", says, needed)
