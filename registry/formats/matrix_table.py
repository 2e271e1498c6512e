"""One unit as a matrix, or a longer table, from CSV or XLSX into plain rows of texts: no design, no database.

What a spreadsheet can hide is refused, not run or guessed: formulas, macros, links to other files, several
filled sheets, archives that unpack to far more than they are; merged cells but where they are asked for.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice
from typing import Any, NoReturn

from registry.errors import RegistryError, RegistryErrors
from registry.formats.design_template import LISTS
from registry.formats.merged_cells import Overlapping, spread
from registry.formats.xml_elements import TooManyElements, elements
from registry.translation import gettext as _

MOST_BYTES = 1_000_000
MOST_PARTS = 200  # files in an XLSX archive
MOST_RATIO = 200  # unpacked by packed, of a part larger than SMALL
SMALL = 100_000
BLANK_ROWS = 10  # rows, blank ones too, by those that may be filled in: millions would fill the memory
MOST_ELSEWHERE = 100_000  # elements of XML in a part without cells: its styles, say
Cells = list[list[str]]


@dataclass(frozen=True)
class Limits:
    """What a file may hold.  days: dates are read, as 2026-11-25; otherwise one is a reading gone wrong.

    merged: cells of one sheet may be merged, and their text stands in each place (`merged_cells`).
    """

    bytes: int = MOST_BYTES
    unpacked: int = 8_000_000
    rows: int = 140  # positions with their gaps
    columns: int = 140  # pairs of pins
    longest: int = 60
    days: bool = False
    merged: bool = False

    @property
    def elements(self) -> int:
        """Of XML in the cells of one sheet, or in the words of all.

        A cell has up to four; whoever formats empty ones has more of them.  A list of 20 000 readings has
        some 300 000.
        """
        return min(self.rows * self.columns * 4, 1_500_000) + MOST_ELSEWHERE


MATRIX = Limits()


def read_matrix(data: bytes) -> Cells:
    """The matrix of one unit."""
    return read_cells(data, MATRIX)


def read_cells(data: bytes, limits: Limits) -> Cells:
    """Rows of stripped texts, empty rows and columns at the end cut off; RegistryErrors where it is none."""
    if not data.strip():
        refuse("matrix_empty", _("The file is empty."), _("Fill in the matrix and send it again."))
    if len(data) > limits.bytes:
        refuse("matrix_too_large", _("The file has {n} bytes.").format(n=len(data)),
               _("One unit needs a few thousand; send each unit as a file of its own."))  # fmt: skip
    if data.startswith(b"PK"):
        cells = _read_xlsx(data, limits)
    elif data.startswith(b"\xd0\xcf\x11\xe0"):
        refuse("matrix_old_format", _("This is an old or an encrypted spreadsheet."),
               _("Save it as XLSX without a password, or as CSV."))  # fmt: skip
    else:
        cells = _read_csv(data, limits)
    return _trimmed(cells, limits)


def refuse(code: str, message: str, advice: str = "", **place: Any) -> NoReturn:
    raise RegistryErrors([RegistryError(code, message, advice, field="/file", **place)])


def _trimmed(cells: Cells, limits: Limits) -> Cells:
    while cells and not any(cells[-1]):
        cells.pop()
    width = max((n for row in cells for n, text in enumerate(row, start=1) if text), default=0)
    if not cells or not width:
        refuse("matrix_empty", _("There is nothing in the file."), _("Fill in the matrix."))
    if len(cells) > limits.rows or width > limits.columns:
        refuse("matrix_too_large", _("This has {rows} rows and {columns} columns.").format(
            rows=len(cells), columns=width), _("Cut it into smaller ones."))  # fmt: skip
    long = [(n, text) for n, row in enumerate(cells, start=1) for text in row if len(text) > limits.longest]
    if long:
        refuse("cell_too_long", _("“{text}…” is too long.").format(text=long[0][1][:20]), line=long[0][0])
    return [[*row, *[""] * width][:width] for row in cells]


def _read_csv(data: bytes, limits: Limits) -> Cells:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        refuse("matrix_not_text", _("This is neither CSV in UTF-8 nor XLSX."),
               _("Save it as XLSX, or as “CSV UTF-8”: plain “CSV” is another encoding."))  # fmt: skip
    if any(ord(sign) < 32 and sign not in "\r\n\t" for sign in text):
        refuse(
            "matrix_not_text", _("There are characters in it that no CSV has."), _("Save it again as CSV.")
        )
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(";\t,", key=first.count)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        rows = list(islice(reader, limits.rows * BLANK_ROWS + 1))
    except csv.Error as error:
        refuse("matrix_unreadable", _("This CSV can't be read: {why}.").format(why=error),
               _("A quotation mark may be open."))  # fmt: skip
    if len(rows) > limits.rows * BLANK_ROWS:
        _too_far(len(rows))
    cells = [[cell.strip() for cell in row] for row in rows]
    formulas = [
        (n, cell) for n, row in enumerate(cells, start=1) for cell in row if cell.startswith(("=", "@"))
    ]
    if formulas:
        _formula(formulas[0][0], formulas[0][1])
    return cells


def _formula(line: int, text: str) -> NoReturn:
    refuse("matrix_formula", _("“{text}” is a formula.").format(text=text[:30]),
           _("Paste the figures as values; a reading is what the meter showed."), line=line)  # fmt: skip


def _read_xlsx(data: bytes, limits: Limits) -> Cells:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_parts(archive, limits)
            merged = _check_sheets(archive, limits)
    except RegistryErrors:
        raise
    except Exception:  # a damaged archive fails in zipfile, zlib or the XML reader in as many ways
        _broken()
    cells = _openpyxl_cells(data, limits)
    try:
        spread(cells, merged)
    except Overlapping:
        refuse("matrix_bomb", _("Merged cells lie over each other in this file."),
               _("Save it anew, or as CSV."))  # fmt: skip
    except ValueError:
        _broken()
    return cells


def _broken() -> NoReturn:
    refuse("matrix_unreadable", _("This is no XLSX, or a damaged one."), _("Save it anew, or as CSV."))


def _check_parts(archive: zipfile.ZipFile, limits: Limits) -> None:
    parts = archive.infolist()
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > limits.unpacked:
        refuse(
            "matrix_bomb", _("This file unpacks to far more than a matrix."), _("Save it anew, or as CSV.")
        )
    for part in parts:
        if part.file_size > SMALL and part.file_size > MOST_RATIO * max(part.compress_size, 1):
            refuse("matrix_bomb", _("This file unpacks to far more than a matrix."),
                   _("Save it anew, or as CSV."))  # fmt: skip
        if part.flag_bits & 1:
            refuse("matrix_encrypted", _("The file is encrypted."), _("Save it without a password."))
        name = part.filename.lower()
        if "vbaproject" in name or "/macrosheets/" in name or "activex" in name:
            refuse("matrix_macros", _("There are macros in the file."), _("Save it as XLSX without macros."))
        if "externallinks/" in name or "embeddings/" in name:
            refuse("matrix_links", _("The file refers to other files."), _("Paste the figures as values."))
    names = {part.filename for part in parts}
    if len(names) != len(parts) or "xl/workbook.xml" not in names or "[Content_Types].xml" not in names:
        _broken()


def _check_sheets(archive: zipfile.ZipFile, limits: Limits) -> list[str]:
    """What openpyxl would read over in silence, looked for in the XML itself; which cells are merged."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import ParseError

    unpacked, left = 0, 2 * limits.elements + MOST_ELSEWHERE
    merged: dict[str, list[str]] = {}
    for name in archive.namelist():
        with archive.open(name) as part:
            content = part.read(limits.unpacked + 1)
        if not name.endswith((".xml", ".rels")):
            if content.count(b"<") > MOST_ELSEWHERE:  # a sheet may have any name
                refuse("matrix_bomb", _("This file unpacks to far more than a matrix."))
            continue
        unpacked += len(content)
        if unpacked > limits.unpacked:
            refuse("matrix_bomb", _("This file unpacks to far more than a matrix."))
        try:
            of_cells = name.startswith(("xl/worksheets/", "xl/sharedStrings"))
            for tag, attributes in elements(content, limits.elements if of_cells else MOST_ELSEWHERE):
                left -= 1
                if name.startswith("xl/worksheets/"):
                    _check_element(tag, attributes, limits)
                    if tag == "mergeCell":
                        merged.setdefault(name, []).append(attributes["ref"])
        except (ParseError, DefusedXmlException):
            _broken()
        except TooManyElements:
            refuse("matrix_bomb", _("This file unpacks to far more than a matrix."))
        if left < 0:
            refuse("matrix_bomb", _("This file unpacks to far more than a matrix."))
    if len(merged) > 1:
        _merged(next(iter(merged.values()))[0])
    return next(iter(merged.values()), [])


def _merged(ref: str) -> NoReturn:
    refuse("matrix_merged", _("Cells are merged: {cells}.").format(cells=ref),
           _("Unmerge them, so that each place has its own reading."))  # fmt: skip


def _check_element(tag: str, attributes: dict[str, str], limits: Limits) -> None:
    if tag == "mergeCell" and not limits.merged:
        _merged(attributes.get("ref", "?"))
    if tag == "f":
        refuse("matrix_formula", _("There is a formula in the file."),
               _("Paste the figures as values; a reading is what the meter showed."))  # fmt: skip
    if tag == "row" and int(attributes.get("r", "1") or 1) > limits.rows * BLANK_ROWS:
        _too_far(attributes["r"])


def _too_far(row: int | str) -> NoReturn:
    refuse("matrix_too_large", _("There is something in row {n}.").format(n=row),
           _("Cut it into smaller ones."))  # fmt: skip


def _openpyxl_cells(data: bytes, limits: Limits) -> Cells:
    from openpyxl import load_workbook

    try:
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        shown = [one for one in book.worksheets if not _is_lists(one)]
        filled = [cells for cells in (_sheet(one, limits) for one in shown) if any(map(any, cells))]
        book.close()
    except RegistryErrors:
        raise
    except (
        Exception
    ):  # a damaged workbook fails in openpyxl in a hundred ways; none of them is ours to tell apart
        _broken()
    if len(filled) > 1:
        refuse("matrix_several", _("More than one sheet of the file is filled in."),
               _("Leave one in it, and send the others as files of their own."))  # fmt: skip
    return filled[0] if filled else []


def _is_lists(sheet: Any) -> bool:
    """The words that our own template offers; whatever else is hidden is read as a second."""
    return sheet.title == LISTS and sheet.sheet_state == "hidden"


def _sheet(sheet: Any, limits: Limits) -> Cells:
    if not hasattr(sheet, "iter_rows"):
        return []
    rows = sheet.iter_rows(max_row=limits.rows + 1, max_col=limits.columns + 1)
    return [list(_texts(row, n, limits)) for n, row in enumerate(rows, start=1)]


def _texts(row: Any, line: int, limits: Limits) -> Iterator[str]:
    for cell in row:
        value = cell.value
        if value is None:
            yield ""
        elif limits.days and isinstance(value, date):
            yield value.isoformat()[:10]
        elif isinstance(value, bool | date | datetime | time):
            refuse("matrix_not_a_reading", _("There is a date or a truth value in row {n}.").format(n=line),
                   _("Set the cells to text; 4-7 is easily taken for a day."), line=line)  # fmt: skip
        elif cell.data_type == "e":
            refuse("matrix_not_a_reading", _("There is “{text}” in row {n}.").format(text=value, n=line),
                   _("Write what the meter showed."), line=line)  # fmt: skip
        elif isinstance(value, float):
            yield f"{value:.12g}"
        else:
            text = str(value).strip()
            if text.startswith(("=", "@")):
                _formula(line, text)
            yield text
