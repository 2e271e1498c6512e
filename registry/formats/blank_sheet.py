"""A blank bench sheet to print and fill in by pencil: one page that fits A4 and Letter alike.

Knows no database: the shape of the switch is plain data.  It is entered later under its number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fpdf import FPDF

from registry.formats.print_parts import PrintFace, add_fonts, draw_code, draw_face, face_step, face_words
from registry.translation import gettext as _

WIDTH, HEIGHT, EDGE = 210.0, 279.0, 12.0  # mm: A4's width, Letter's height
TALLEST_ROW, WIDEST_COLUMN = 11.0, 26.0


@dataclass(frozen=True)
class BlankSheet:
    """columns: heads of the pairs to read; positions: label and spoken name."""

    design: str
    number: str
    address: str  # where it is entered
    face: PrintFace
    columns: Sequence[str]
    positions: Sequence[tuple[str, str]]
    cautions: Sequence[str]


def blank_pdf(sheet: BlankSheet) -> bytes:
    """The sheet as PDF."""
    pdf = FPDF(format=(WIDTH, HEIGHT))
    pdf.set_auto_page_break(False)
    pdf.set_margin(EDGE)
    add_fonts(pdf)
    pdf.set_title(f"{sheet.design} {sheet.number}")
    pdf.add_page()
    _head(pdf, sheet)
    below = _connector(pdf, sheet, 34.0)
    below = _lines_to_fill(pdf, max(below, 62.0))
    below = _table(pdf, sheet, below + 4)
    _foot(pdf, sheet, below + 4)
    return bytes(pdf.output())


def _text(pdf: FPDF, x: float, y: float, text: str, size: float = 9, bold: bool = False) -> None:
    pdf.set_font("sheet", "B" if bold else "", size)
    pdf.text(x, y, text)


def _head(pdf: FPDF, sheet: BlankSheet) -> None:
    _text(pdf, EDGE, 18, _("Bench sheet"), 16, bold=True)
    _text(pdf, EDGE, 25, sheet.design[:70], 12)
    _text(pdf, EDGE, 31, _("Sheet number: {number}").format(number=sheet.number), 9, bold=True)
    draw_code(pdf, sheet.address, WIDTH - EDGE - 24, 8, 24)


def _connector(pdf: FPDF, sheet: BlankSheet, top: float) -> float:
    cavities = sheet.face.cavities
    width, height = draw_face(pdf, cavities, EDGE, top, face_step(cavities, 90.0))
    pdf.set_font("sheet", "", 8)
    pdf.set_xy(EDGE + width + 4, top)
    pdf.multi_cell(WIDTH - 2 * EDGE - width - 30, 4, "\n".join(face_words(sheet.face)))
    return top + height + 4


def _lines_to_fill(pdf: FPDF, top: float) -> float:
    asked = [
        _("Unit, and a word to know it by"),
        _("Why held good: worked, new"),
        _("Meter; highest resistance"),
        _("Leads apart it shows; together, Ω"),
        _("Read where, on which day, by whom"),
        _("Part number; date code; distance"),
    ]
    half = (WIDTH - 2 * EDGE) / 2
    pdf.set_line_width(0.2)
    for n, words in enumerate(asked):
        x, y = EDGE + (n % 2) * half, top + (n // 2) * 11
        _text(pdf, x, y + 3, words, 7)
        pdf.line(x, y + 9, x + half - 5, y + 9)
    return top + (len(asked) + 1) // 2 * 11


def _table(pdf: FPDF, sheet: BlankSheet, top: float) -> float:
    first = 26.0
    room = HEIGHT - 34 - top
    height = min(TALLEST_ROW, room / (len(sheet.positions) + 1))
    width = min(WIDEST_COLUMN, (WIDTH - 2 * EDGE - first) / max(len(sheet.columns), 1))
    pdf.set_line_width(0.3)
    pdf.set_xy(EDGE, top)
    size = 8.0 if width > 12 else 6.0
    pdf.set_font("sheet", "B", size)
    pdf.cell(first, height, _("Position"), border=1)
    for column in sheet.columns:
        pdf.cell(width, height, column, border=1, align="C")
    for n, (label, name) in enumerate(sheet.positions, start=1):
        pdf.set_xy(EDGE, top + n * height)
        pdf.set_font("sheet", "B", 9)
        pdf.cell(first, height, f"{label} {name}".strip()[:14], border=1)
        for _column in sheet.columns:
            pdf.cell(width, height, "", border=1)
    return top + (len(sheet.positions) + 1) * height


def _foot(pdf: FPDF, sheet: BlankSheet, top: float) -> None:
    pdf.set_font("sheet", "", 7)
    pdf.set_xy(EDGE, top)
    how = _("Write what the meter shows: 0.4, 1.2k, 4R7, OL, cont. Leave empty what you did not take.")
    enter = _("Enter it at {address}").format(address=sheet.address)
    pdf.multi_cell(WIDTH - 2 * EDGE, 3.6, "\n".join([how, *sheet.cautions, enter]))
