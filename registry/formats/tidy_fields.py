"""The header of the tidy form, each distinct text of a column read once, and the list of errors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from registry.errors import RegistryError, RegistryErrors, pointer
from registry.formats.tidy_columns import COLUMNS, Column
from registry.formats.tidy_text import KEPT
from registry.translation import gettext as _
from registry.translation import ngettext

BAD = -1


class ErrorList:
    """Collects errors; keeps the first `KEPT` and counts the rest."""

    def __init__(self, columns: Sequence[Column] = COLUMNS) -> None:
        self._order = {column.name: place for place, column in enumerate(columns)}
        self.kept: list[RegistryError] = []
        self.count = 0

    def add(self, error: RegistryError, line: int, column: str | None = None) -> None:
        self.count += 1
        if len(self.kept) < KEPT:
            field = pointer("lines", line) if column is None else pointer("lines", line, column)
            self.kept.append(error.at(field=field, line=line, column=column))

    def raise_any(self) -> None:
        if self.count:
            self.kept.sort(key=lambda error: (error.line or 0, self._order.get(error.column or "", -1)))
            raise RegistryErrors(self.kept, more=self.count - len(self.kept))


class FieldCodes(dict[str, int]):
    """Text of a field → code of its value, `BAD` where it can't be read; equal values share a code.

    found: values by code; errors: by text.  One object may serve several columns that share their values.
    """

    def __init__(self, parse: Callable[[str], Any]) -> None:
        super().__init__()
        self._parse = parse
        self._code_of: dict[Any, int] = {}
        self.found: list[Any] = []
        self.errors: dict[str, RegistryError] = {}
        self._last: RegistryError

    def __missing__(self, text: str) -> int:
        try:
            value = self._parse(text)
        except RegistryError as error:
            # one stands for all that nobody will be told of: a large file may have a million
            self.errors[text] = self._last = self._last if len(self.errors) >= KEPT else error
            code = BAD
        else:
            code = self._code_of.setdefault(value, len(self.found))
            if code == len(self.found):
                self.found.append(value)
        self[text] = code
        return code


class Header:
    """Which field of a row is which column.  places: column name → index; unknown: names kept out."""

    def __init__(self, names: Sequence[str], line: int, columns: Sequence[Column] = COLUMNS) -> None:
        found = [name.strip().lower() for name in names]
        known = {column.name for column in columns}
        self.width = len(found)
        self.unknown = [name for name in found if name and name not in known]
        self.places = {name: place for place, name in enumerate(found) if name in known}
        missing = [column.name for column in columns if column.needed and column.name not in self.places]
        twice = sorted({name for name in found if name in known and found.count(name) > 1})
        errors = []
        if missing:
            listed = ", ".join(missing)
            message = ngettext(
                "The header has no column {names}.", "The header has no columns {names}.", len(missing)
            ).format(names=listed)
            advice = _("The first line names the columns, separated by commas or semicolons.")
            errors.append(RegistryError("column_missing", message, advice, field="/header", line=line))
        errors += [
            RegistryError(
                "column_twice",
                _("The header names {name} twice.").format(name=name),
                _("Keep one of the columns."),
                field=pointer("header", name),
                line=line,
            )
            for name in twice
        ]
        if errors:
            raise RegistryErrors(errors)
