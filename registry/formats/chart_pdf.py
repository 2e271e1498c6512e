"""A published chart as PDF: A4 across, a page for each variant.  The same chart gives the same bytes.

Each page stands alone, since a print is copied and torn apart: which pin sits where, the pattern, what to
mind before one works by it, and where the chart is found today.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from fpdf import FPDF

from registry.formats.figures import ohm_text, standing_text, state_text
from registry.formats.print_parts import (
    PrintFace,
    add_fonts,
    draw_code,
    draw_face,
    face_step,
    face_words,
    fitted,
    leads_words,
)
from registry.translation import gettext as _

Plain = dict[str, Any]
Pair = tuple[str, str]
WIDTH, HEIGHT, EDGE = 297.0, 210.0, 12.0  # mm
ROOM = WIDTH - 2 * EDGE
FIRST, HEAD, CODE, LINE = 26.0, 7.0, 26.0, 3.6
WIDEST, NARROWEST = 30.0, 24.0  # a cell's width; more pairs go on the next page
TALLEST, LOWEST = 13.0, 8.6  # its height; more positions go on the next page
FACE_WIDTH, FACE_HEIGHT = 110.0, 24.0
ACROSS = int((ROOM - FIRST) // NARROWEST)
DASHES = {"provisional": (1.6, 1.0), "thin": (0.4, 1.0)}
NO_TIME = datetime(2000, 1, 1, tzinfo=UTC)  # the file says when it was published in words, if at all


@dataclass(frozen=True)
class ChartPrint:
    """What stands beside the table on each page.  address: of the chart's page; face: None where unknown."""

    title: str
    day: str
    address: str
    face: PrintFace | None
    cautions: Sequence[str]


def chart_pdf(
    chart: Plain,
    *,
    revision: int,
    state: str,
    published: str = "",
    address: str = "",
    face: PrintFace | None = None,
    cautions: Sequence[str] = (),
) -> bytes:
    """Every variant: positions down in detent order, pairs of pins across; contact, word, count, standing.

    published: the day, as in the envelope of the chart; whoever finds the print sees how old it is.  A face
    whose pins are not those of the chart was drawn anew since; it is left out.
    """
    pdf = FPDF(orientation="L", format="A4")
    pdf.set_creation_date(NO_TIME)
    pdf.set_auto_page_break(False)
    pdf.set_margin(EDGE)
    pdf.c_margin = 0
    add_fonts(pdf)
    title = _("{name}, revision {n}").format(name=chart["design"]["name"], n=revision)
    if state == "withdrawn":
        title = _("WITHDRAWN: {title}").format(title=title)
    pdf.set_title(title)
    day = _("published {day}").format(day=published[:10]) if published else ""
    fits = face is not None and _pins_of(face) == set(chart["design"].get("pins", ()))
    sheet = ChartPrint(title, day, address, face if fits else None, cautions)
    for variant in chart["variants"] or [None]:
        _variant(pdf, chart, variant, sheet)
    return bytes(pdf.output())


def _pins_of(face: PrintFace) -> set[str]:
    return {cavity.label for cavity in face.cavities if not cavity.empty}


def _variant(pdf: FPDF, chart: Plain, variant: Plain | None, sheet: ChartPrint) -> None:
    cells = [] if variant is None else variant["cells"]
    pairs = list(dict.fromkeys((cell["pin"], cell["against"]) for cell in cells))
    rows = _rows(chart, cells)
    by_place = {(c["position"], bool(c.get("between")), c["pin"], c["against"]): c for c in cells}
    top, left = 0, 0
    while top < len(rows):
        pdf.add_page()
        lowest = _foot(pdf, chart, sheet)
        below = _face(pdf, chart, sheet, _head(pdf, variant, sheet))
        room = lowest - below - HEAD
        height = max(LOWEST, min(TALLEST, room / (len(rows) - top)))
        down = max(1, int(room / height + 1e-6))
        across = pairs[left : left + ACROSS]
        size = min(WIDEST, (ROOM - FIRST) / max(len(across), 1)), height
        _table(pdf, rows[top : top + down], across, by_place, below, size)
        top, left = (top, left + ACROSS) if left + ACROSS < len(pairs) else (top + down, 0)


def _rows(chart: Plain, cells: list[Plain]) -> list[tuple[str, bool]]:
    """Positions, and the gaps behind them that were read."""
    gaps = {cell["position"] for cell in cells if cell.get("between")}
    return [
        (label, between)
        for label in chart["design"]["positions"]
        for between in (False, True)
        if not between or label in gaps
    ]


def _head(pdf: FPDF, variant: Plain | None, sheet: ChartPrint) -> float:
    """Title at the left, where the chart is found at the right; returns how far down the title goes."""
    room = ROOM - CODE - 4 if sheet.address else ROOM
    _text(pdf, EDGE, EDGE + 4, fitted(pdf, _printable(sheet.title), room, 14, bold=True), 14, bold=True)
    if variant is None:
        words = _("No reading has been agreed on.")
    else:
        words = _("Variant {key}: {units} units, {contributors} contributors").format(
            key=variant["variant"], units=variant["units"], contributors=variant["contributors"]
        )
    _text(pdf, EDGE, EDGE + 10, f"{words} · {sheet.day}" if sheet.day else words, 9)
    if sheet.address:
        draw_code(pdf, sheet.address, WIDTH - EDGE - CODE, EDGE - 3, CODE)
    return EDGE + 13


def _face(pdf: FPDF, chart: Plain, sheet: ChartPrint, top: float) -> float:
    """The connector, and in words from where one sees it; returns where the table may begin."""
    free = EDGE - 3 + CODE + 2 if sheet.address else top + 2
    words = [leads_words(chart["design"].get("common"))] if "common" in chart["design"] else []
    x = EDGE
    if sheet.face is not None and sheet.face.cavities:
        step = face_step(sheet.face.cavities, FACE_WIDTH, FACE_HEIGHT)
        width, height = draw_face(pdf, sheet.face.cavities, EDGE, top, step)
        words = [*face_words(sheet.face), *words]
        x, free = EDGE + width + 4, max(free, top + height + 3)
    pdf.set_font("sheet", "", 8)
    pdf.set_xy(x, top)
    pdf.multi_cell(WIDTH - EDGE - CODE - 4 - x, 4, _printable("\n".join(words)), align="L")
    return max(free, pdf.get_y() + 2) if words else free


def _table(
    pdf: FPDF,
    rows: list[tuple[str, bool]],
    pairs: list[Pair],
    by_place: dict[Any, Plain],
    top: float,
    size: tuple[float, float],
) -> None:
    width, height = size
    for n, (pin, against) in enumerate(pairs):
        text = _("pin {pin} to {against}").format(pin=pin, against=against)
        _text(pdf, EDGE + FIRST + n * width + 1, top + 5, fitted(pdf, text, width - 2, 7, bold=True), 7, True)
    for row, (label, between) in enumerate(rows):
        y = top + HEAD + row * height
        text = _("behind {position}").format(position=label) if between else label
        text = fitted(pdf, _printable(text), FIRST - 2, 10, bold=not between)
        _text(pdf, EDGE, y + height / 2 + 1, text, 10, not between)
        for n, (pin, against) in enumerate(pairs):
            cell = by_place.get((label, between, pin, against))
            _cell(pdf, cell, EDGE + FIRST + n * width, y, size)


def _cell(pdf: FPDF, cell: Plain | None, x: float, y: float, size: tuple[float, float]) -> None:
    """The frame says the standing, the drawn contact the state (in the manner of IEC 60617), words both."""
    width, height = size
    large, small = (8, 6.5) if height > 10.5 else (7, 5.5)
    standing = cell["standing"] if cell is not None else "unread"
    state = cell["state"] if cell is not None else None
    if standing != "unread":
        pdf.set_line_width(0.25)
        pdf.set_dash_pattern(*DASHES.get(standing, (0, 0)))
        pdf.rect(x + 0.5, y + 0.5, width - 1, height - 1)
        pdf.set_dash_pattern()
    _contact(pdf, state, x + 2, y + height * 0.22, 1.3 if height > 10.5 else 1.0)
    word = state_text(state)
    if cell is not None and state == "resistive" and cell["ohm"]:
        word = ohm_text(cell["ohm"]["typical"])
    _text(pdf, x + 2, y + height * 0.63, fitted(pdf, word, width - 3, large), large)
    if cell is not None and cell["units"]:
        counted = _("{a} of {n}").format(a=cell["agreeing"], n=cell["units"])
        counted = f"{counted}, {standing_text(standing)}"
        pdf.set_font("sheet", "", small)
        small = small if pdf.get_string_width(counted) <= width - 3 else 5.5
        _text(pdf, x + 2, y + height * 0.89, fitted(pdf, counted, width - 3, small), small)


def _contact(pdf: FPDF, state: str | None, x: float, y: float, half: float) -> None:
    if state is None:
        return
    pdf.set_line_width(0.5)
    for end in (x, x + 16):
        pdf.ellipse(end - 0.5, y - 0.5, 1, 1, style="F")
    for start, stop in {"open": ((0, 5), (11, 16))}.get(state, ((0, 16),)):
        pdf.line(x + start, y, x + stop, y)
    if state == "resistive":
        pdf.set_fill_color(255, 255, 255)
        pdf.rect(x + 5, y - half, 6, 2 * half, style="DF")
        pdf.set_fill_color(0, 0, 0)


def _foot(pdf: FPDF, chart: Plain, sheet: ChartPrint) -> float:
    """What to mind, and where the chart is found; returns where the table has to end."""
    words = _("Evidence from bench readings, never a certificate. Check the revision before you rely on it.")
    found = sheet.address or str(chart["design"].get("uuid", ""))
    pdf.set_font("sheet", "", 7.5)
    half = ROOM / 2 - 3
    across = 2 if all(pdf.get_string_width(line) <= half for line in sheet.cautions) else 1
    deep = -(-len(sheet.cautions) // across)
    top = HEIGHT - EDGE - (deep + 2) * LINE
    for n, line in enumerate(sheet.cautions):
        column, row = divmod(n, deep)
        pdf.set_xy(EDGE + column * (half + 6), top + row * LINE)
        pdf.cell(half, LINE, _printable(line))
    for row, line in enumerate((words, fitted(pdf, found, ROOM, 7.5)), deep):
        pdf.set_xy(EDGE, top + row * LINE)
        pdf.cell(ROOM, LINE, _printable(line))
    return top - 2


def _printable(text: str) -> str:
    return "".join(sign for sign in text if sign.isprintable() or sign == "\n")


def _text(pdf: FPDF, x: float, y: float, text: str, size: float, bold: bool = False) -> None:
    pdf.set_font("sheet", "B" if bold else "", size)
    pdf.text(x, y, _printable(text).replace("\n", " "))
