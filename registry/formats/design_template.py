"""A spreadsheet of a design to be filled in: a line for each reading, with lists of what may stand there."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from registry.formats.tidy_columns import HELD_GOOD, SOURCE_CLASSES

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

HEADS = ("unit", "held_good", "class", "position", "pin", "against", "reading")
SPARE = 2000  # lines for further units
LISTS = "lists"  # hidden: what may stand in a column, whatever signs are in it; the reader passes over it


def design_template(
    *, positions: Sequence[str], pairs: Sequence[tuple[str, str]], pins: Sequence[str]
) -> bytes:
    """XLSX, one unit laid out: positions in detent order, for each the pairs (pin, against)."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    sheet.title = "readings"
    sheet.append(HEADS)
    for position in positions:
        for pin, against in pairs:
            sheet.append(["", "worked", "unknown", position, pin, against, ""])
    last = max(SPARE, 1 + len(positions) * len(pairs))
    for row in sheet.iter_rows(min_row=1, max_row=last, max_col=len(HEADS)):
        for cell in row:
            cell.number_format = "@"  # text: 4R7, 1e3 and 0.40 stay as they are typed
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    lists = book.create_sheet(LISTS)
    lists.sheet_state = "hidden"
    held = [word for word in HELD_GOOD if word != "no"]
    for head, words in (
        ("held_good", held),
        ("class", SOURCE_CLASSES),
        ("position", positions),
        ("pin", pins),
        ("against", pins),
    ):
        _list(sheet, lists, HEADS.index(head) + 1, last, words)
    for letter, width in zip("ABCDEFG", (16, 12, 12, 10, 8, 8, 14), strict=True):
        sheet.column_dimensions[letter].width = width
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def _list(sheet: Worksheet, lists: Worksheet, column: int, last: int, words: Sequence[str]) -> None:
    """What the column takes: the words stand in the same column of the hidden sheet."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    if not words:
        return
    letter = get_column_letter(column)
    for n, word in enumerate(words, start=1):
        lists.cell(n, column, word).number_format = "@"
    taken = f"{LISTS}!${letter}$1:${letter}${len(words)}"
    rule = DataValidation(type="list", formula1=taken, allow_blank=True, showErrorMessage=True)
    rule.add(f"{letter}2:{letter}{last}")
    sheet.add_data_validation(rule)
