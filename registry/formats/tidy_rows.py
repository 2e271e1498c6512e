"""From lines of text to columns of codes: the header, and each field read once per distinct text."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from itertools import chain, islice
from typing import Any

import numpy as np

from registry.errors import RegistryError, RegistryErrors, pointer
from registry.formats.tidy_columns import COLUMNS
from registry.formats.tidy_table import IntArray
from registry.formats.tidy_text import TextLines
from registry.translation import gettext as _
from registry.translation import ngettext

CHUNK = 50_000  # rows
KEPT = 1000  # errors kept as objects; the rest are counted
BAD = -1
_BREAK = re.compile(r"\r\n|\r|\n")


class ErrorList:
    """Collects errors; keeps the first `KEPT` and counts the rest."""

    def __init__(self) -> None:
        self.kept: list[RegistryError] = []
        self.count = 0

    def add(self, error: RegistryError, line: int, column: str | None = None) -> None:
        self.count += 1
        if len(self.kept) < KEPT:
            field = pointer("lines", line) if column is None else pointer("lines", line, column)
            self.kept.append(error.at(field=field, line=line, column=column))

    def raise_any(self) -> None:
        if self.count:
            order = {column.name: place for place, column in enumerate(COLUMNS)}
            self.kept.sort(key=lambda error: (error.line or 0, order.get(error.column or "", -1)))
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

    def __missing__(self, text: str) -> int:
        try:
            value = self._parse(text)
        except RegistryError as error:
            self.errors[text] = error
            code = BAD
        else:
            code = self._code_of.setdefault(value, len(self.found))
            if code == len(self.found):
                self.found.append(value)
        self[text] = code
        return code


class Header:
    """Which field of a row is which column.  places: column name → index; unknown: names kept out."""

    def __init__(self, names: Sequence[str], line: int) -> None:
        found = [name.strip().lower() for name in names]
        known = {column.name for column in COLUMNS}
        self.width = len(found)
        self.unknown = [name for name in found if name and name not in known]
        self.places = {name: place for place, name in enumerate(found) if name in known}
        missing = [column.name for column in COLUMNS if column.needed and column.name not in self.places]
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


class RowReader:
    """The rows of the file in chunks; rows that don't fit the header go to `errors`."""

    def __init__(self, lines: TextLines, errors: ErrorList) -> None:
        self._lines, self._errors = lines, errors
        source = iter(lines)
        leading = list(_up_to_first_text(source))
        first = leading[-1]
        delimiter = ";" if first.count(";") > first.count(",") else ","
        self._csv = csv.reader(chain(leading, source), delimiter=delimiter, strict=True)
        self._decimal_commas = delimiter == ","
        self._ended = False
        found = next((rows for _lines, rows in self._segments(1) if rows), None)
        if found is None:
            errors.raise_any()
            lines.raise_any()
        self.header = Header(found[0] if found else [], self._csv.line_num)

    def chunks(self) -> Iterator[tuple[IntArray, list[list[str]]]]:
        """Line number of each row, and the rows, each of the header's width."""
        width = self.header.width
        for lines, rows in self._segments(CHUNK):
            self._lines.tell_progress()
            if set(map(len, rows)) == {width}:
                yield lines, rows
                continue
            fitting = [place for place, row in enumerate(rows) if len(row) == width]
            for place, row in enumerate(rows):
                if len(row) != width and any(field.strip() for field in row):
                    self._errors.add(self._wrong_width(len(row)), int(lines[place]))
            if fitting:
                yield lines[fitting], [rows[place] for place in fitting]

    def _segments(self, size: int) -> Iterator[tuple[IntArray, list[list[str]]]]:
        """Rows as the csv module gives them, with the line that each begins on."""
        while not self._ended:
            start = self._csv.line_num
            rows: list[list[str]] = []
            try:
                rows.extend(islice(self._csv, size))
            except csv.Error as error:
                lines = _line_numbers(start, self._csv.line_num, rows)
                self._quote_error(str(error), int(lines[-1]))
                lines = lines[:-1]
            else:
                self._ended = len(rows) < size
                lines = _line_numbers(start, self._csv.line_num, rows)[:-1]
            if rows:
                yield lines, rows
            if size == 1 and rows and any(field.strip() for field in rows[0]):
                return

    def _quote_error(self, reason: str, line: int) -> None:
        if "expected after" in reason:
            message = _("After a closing quote comes something else than a separator.")
            advice = _("Write a quote inside a quoted field twice.")
        else:  # the quote swallows the rest: what follows can't be told apart from the field
            message = _("A quote that opens here is never closed; the rest of the file could not be read.")
            advice = _("Close the quote, or leave it out.")
            self._ended = True
        self._errors.add(RegistryError("quote_unbalanced", message, advice), line)

    def _wrong_width(self, found: int) -> RegistryError:
        advice = _("Write as many fields as the header has, empty ones too.")
        if found > self.header.width and self._decimal_commas:
            advice = _('A decimal comma needs quotes here: "0,4". Or write 0.4.')
        message = _("The line has {found} fields; the header has {width}.")
        return RegistryError("row_width", message.format(found=found, width=self.header.width), advice)


def _up_to_first_text(lines: Iterator[str]) -> Iterator[str]:
    """The empty lines before the header, and the header: they count as lines."""
    for line in lines:
        yield line
        if line.strip():
            return


def _line_numbers(start: int, end: int, rows: list[list[str]]) -> IntArray:
    """The line on which each row begins, and the one after the last; quoted fields may hold line breaks."""
    if end - start == len(rows):
        return np.arange(start + 1, end + 2, dtype=np.int32)
    breaks = [sum(len(_BREAK.findall(field)) for field in row) for row in rows]
    return start + 1 + np.concatenate(([0], np.cumsum(np.array(breaks, dtype=np.int32) + 1))).astype(np.int32)
