"""A spreadsheet of a design to be filled in: a line for each reading, with lists of what may stand there."""

from __future__ import annotations

import io
from collections.abc import Sequence

from registry.formats.safe_cells import safe_label
from registry.formats.tidy_columns import HELD_GOOD, SOURCE_CLASSES

HEADS = ("unit", "held_good", "class", "position", "pin", "against", "reading")
SPARE = 2000  # lines for further units
LONGEST_LIST = 255  # signs that a spreadsheet takes as a list of its own


def design_template(
    *, positions: Sequence[str], pairs: Sequence[tuple[str, str]], pins: Sequence[str]
) -> bytes:
    """XLSX, one unit laid out: positions in detent order, for each the pairs (pin, against)."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    positions, pins = [safe_label(label) for label in positions], [safe_label(label) for label in pins]
    pairs = [(safe_label(pin), safe_label(against)) for pin, against in pairs]
    book = Workbook()
    sheet = book.active
    sheet.title = "readings"
    sheet.append(HEADS)
    for position in positions:
        for pin, against in pairs:
            sheet.append(["", "worked", "unknown", position, pin, against, ""])
    for row in sheet.iter_rows(min_row=1, max_row=1 + len(positions) * len(pairs)):
        for cell in row:
            cell.number_format = "@"  # text: 4R7 and 1e3 stay as they are typed
            cell.font = Font(bold=cell.row == 1)
    sheet.freeze_panes = "A2"
    held = [word for word in HELD_GOOD if word != "no"]
    for head, words in (
        ("held_good", held),
        ("class", SOURCE_CLASSES),
        ("position", positions),
        ("pin", pins),
        ("against", pins),
    ):
        _list(sheet, HEADS.index(head) + 1, words)
    for letter, width in zip("ABCDEFG", (16, 12, 12, 10, 8, 8, 14), strict=True):
        sheet.column_dimensions[letter].width = width
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def _list(sheet: object, column: int, words: Sequence[str]) -> None:
    """What the column takes; a design whose labels don't fit into a list goes without."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    text = ",".join(words)
    if len(text) > LONGEST_LIST or any("," in word or '"' in word for word in words):
        return
    rule = DataValidation(type="list", formula1=f'"{text}"', allow_blank=True, showErrorMessage=True)
    letter = get_column_letter(column)
    rule.add(f"{letter}2:{letter}{SPARE}")
    sheet.add_data_validation(rule)  # type: ignore[attr-defined]
