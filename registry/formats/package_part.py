"""One design of a registry as it goes over the network: rows of a package's tables in one JSON document."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from registry.errors import RegistryError
from registry.formats.canonical import canonical
from registry.formats.package_cells import cell_text, cell_value
from registry.formats.package_tables import BY_NAME
from registry.translation import gettext as _

Plain = dict[str, Any]
PART = "benchquorum/part/1"
NOT_IN_PARTS = ("settings", "cells", "fact_standings", "lives")  # say nothing that the rest doesn't
TEXT_ONLY = ("date", "datetime")


def part_bytes(origin: str, design: str, tables: dict[str, Iterator[Any]], lines: dict[str, Any]) -> bytes:
    """Canonical bytes; tables: rows by table; lines: exact bytes of charts, inputs and snapshots."""
    plain: Plain = {"format": PART, "origin": origin, "design": design, "tables": {}, "lines": {}}
    for name, rows in tables.items():
        columns = BY_NAME[name].columns
        plain["tables"][name] = [
            [
                cell_text(value, column.kind) if column.kind in TEXT_ONLY else value
                for value, column in zip(row, columns, strict=True)
            ]
            for row in rows
        ]
    for name, found in lines.items():
        plain["lines"][name] = [line.decode() for line in found]
    return canonical(plain)


class Part:
    """A part that came in; what is wrong with its form is a RegistryError."""

    def __init__(self, content: bytes) -> None:
        try:
            self.plain: Plain = json.loads(content)
            known = self.plain["format"] == PART
            self.origin, self.design = str(self.plain["origin"]), str(self.plain["design"])
        except (ValueError, TypeError, KeyError, RecursionError):
            known = False
        if not known:
            raise _unreadable(_("What came is no part of a registry."))

    def has(self, name: str) -> bool:
        return name in self.plain.get("tables", {})

    def rows(self, name: str) -> Iterator[Plain]:
        """Rows of a table; none of one, and no column, that the other registry doesn't have yet."""
        table = BY_NAME[name]
        if table.later and not self.has(name):
            return
        for row in self._list("tables", name):
            try:
                columns = table.columns[: max(len(row), len(table.first_columns))]
                yield {
                    column.name: cell_value(value or "", column.kind) if column.kind in TEXT_ONLY else value
                    for column, value in zip(columns, row, strict=True)
                }
            except (ValueError, TypeError):
                raise _unreadable(_("A row of {table} can't be read.").format(table=name)) from None

    def lines(self, name: str) -> Iterator[bytes]:
        for line in self._list("lines", name):
            yield str(line).encode()

    def _list(self, group: str, name: str) -> list[Any]:
        tables = self.plain.get(group)
        found = tables.get(name) if isinstance(tables, dict) else None
        if not isinstance(found, list):
            raise _unreadable(_("“{table}” is missing.").format(table=name))
        return found


def _unreadable(message: str) -> RegistryError:
    return RegistryError("part_unreadable", message, _("The other registry may be of another version."))
