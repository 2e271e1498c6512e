"""From lines of text to columns of text.

A file without quotes, the usual case, is cut by the separator alone: a quarter of the time of the csv module,
which reads the rest.  Both give the same columns.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from itertools import chain, islice

import numpy as np

from registry.errors import RegistryError
from registry.formats.tidy_columns import COLUMNS, Column
from registry.formats.tidy_fields import ErrorList, Header
from registry.formats.tidy_table import IntArray
from registry.formats.tidy_text import TidyText
from registry.translation import gettext as _

CHUNK = 1000  # rows; what is cut from them stays in the processor's cache: half the time of 50 000
Chunk = tuple[
    IntArray, Sequence[Sequence[str]]
]  # line number of each row; the columns, in the header's order

_BREAK = re.compile(r"\r\n|\r|\n")


class RowReader:
    """The columns of the file in chunks of rows; rows that don't fit the header go to `errors`."""

    def __init__(self, text: TidyText, errors: ErrorList, columns: Sequence[Column] = COLUMNS) -> None:
        self._text, self._errors = text, errors
        source = text.lines()
        leading = list(_up_to_first_text(source))
        self._delimiter = ";" if leading[-1].count(";") > leading[-1].count(",") else ","
        self._csv = csv.reader(chain(leading, source), delimiter=self._delimiter, strict=True)
        self._ended = False
        names = self._header_row()
        self.header = Header(names, self._csv.line_num, columns)

    def _header_row(self) -> list[str]:
        for _lines, rows in self._segments(1):
            if rows and any(field.strip() for field in rows[0]):
                return rows[0]
        self._errors.raise_any()
        self._text.raise_any()
        return []

    def chunks(self) -> Iterator[Chunk]:
        if self._text.plain is not None:
            for start, block in self._text.blocks(self._csv.line_num, CHUNK):
                yield from self._cut(start, block)
            return
        for lines, rows in self._segments(CHUNK):
            self._text.tell_progress()
            yield from self._fitting(lines, rows)

    def _cut(self, start: int, block: bytes) -> Iterator[Chunk]:
        """The columns of a block of whole lines that has no quotes."""
        width, mark = self.header.width, self._delimiter
        marks = np.frombuffer(block, dtype=np.uint8)
        ends = np.flatnonzero(marks == ord("\n"))
        before_end = np.searchsorted(np.flatnonzero(marks == ord(mark)), ends)
        lines = np.arange(start + 1, start + 1 + len(ends), dtype=np.int32)
        if (np.diff(before_end, prepend=0) == width - 1).all() and width > 1:
            fields = block.decode().replace("\n", mark).split(mark)
            yield lines, [fields[place:-1:width] for place in range(width)]
        else:
            rows = [line.split(mark) if line else [] for line in block.decode().split("\n")[:-1]]
            yield from self._fitting(lines, rows)

    def _fitting(self, lines: IntArray, rows: list[list[str]]) -> Iterator[Chunk]:
        width = self.header.width
        fitting = [place for place, row in enumerate(rows) if len(row) == width]
        if len(fitting) < len(rows):
            for place, row in enumerate(rows):
                if len(row) != width and any(field.strip() for field in row):
                    self._errors.add(self._wrong_width(len(row)), int(lines[place]))
            lines, rows = lines[fitting], [rows[place] for place in fitting]
        if rows:
            yield lines, list(zip(*rows, strict=True))

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
            else:
                self._ended = len(rows) < size
                lines = _line_numbers(start, self._csv.line_num, rows)
            if rows:
                yield lines[:-1], rows

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
        if found > self.header.width and self._delimiter == ",":
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
