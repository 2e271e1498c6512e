"""A published chart as PDF: A4 across, a table for each variant.  The same chart gives the same bytes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from fpdf import FPDF

from registry.formats.blank_sheet import FONTS
from registry.formats.figures import ohm_text, standing_text, state_text
from registry.translation import gettext as _

Plain = dict[str, Any]
Pair = tuple[str, str]
WIDTH, HEIGHT, EDGE = 297.0, 210.0, 12.0  # mm
FIRST, CELL, ROW, HEAD = 26.0, 30.0, 13.0, 7.0
ACROSS = int((WIDTH - 2 * EDGE - FIRST) // CELL)
DASHES = {"provisional": (1.6, 1.0), "thin": (0.4, 1.0)}
NO_TIME = datetime(2000, 1, 1, tzinfo=UTC)  # the file says when it was published in words, if at all


def chart_pdf(chart: Plain, *, revision: int, state: str) -> bytes:
    """Every variant: positions down in detent order, pairs of pins across; contact, word, count, standing."""
    pdf = FPDF(orientation="L", format="A4")
    pdf.set_creation_date(NO_TIME)
    pdf.set_auto_page_break(False)
    pdf.set_margin(EDGE)
    pdf.add_font("sheet", "", FONTS / "DejaVuSans.ttf")
    pdf.add_font("sheet", "B", FONTS / "DejaVuSans-Bold.ttf")
    title = _("{name}, revision {n}").format(name=chart["design"]["name"], n=revision)
    if state == "withdrawn":
        title = _("WITHDRAWN: {title}").format(title=title)
    pdf.set_title(title)
    for variant in chart["variants"] or [None]:
        _variant(pdf, chart, variant, title)
    return bytes(pdf.output())


def _variant(pdf: FPDF, chart: Plain, variant: Plain | None, title: str) -> None:
    cells = [] if variant is None else variant["cells"]
    pairs = list(dict.fromkeys((cell["pin"], cell["against"]) for cell in cells))
    rows = _rows(chart, cells)
    by_place = {(c["position"], bool(c.get("between")), c["pin"], c["against"]): c for c in cells}
    down = int((HEIGHT - 2 * EDGE - 30 - HEAD) // ROW)
    for left in range(0, max(len(pairs), 1), ACROSS):
        for top in range(0, len(rows), down):
            pdf.add_page()
            below = _head(pdf, variant, title)
            _table(pdf, rows[top : top + down], pairs[left : left + ACROSS], by_place, below)
            _foot(pdf, chart)


def _rows(chart: Plain, cells: list[Plain]) -> list[tuple[str, bool]]:
    """Positions, and the gaps behind them that were read."""
    gaps = {cell["position"] for cell in cells if cell.get("between")}
    return [
        (label, between)
        for label in chart["design"]["positions"]
        for between in (False, True)
        if not between or label in gaps
    ]


def _head(pdf: FPDF, variant: Plain | None, title: str) -> float:
    _text(pdf, EDGE, EDGE + 5, title[:90], 14, bold=True)
    if variant is None:
        words = _("No reading has been agreed on.")
    else:
        words = _("Variant {key}: {units} units, {contributors} contributors").format(
            key=variant["variant"], units=variant["units"], contributors=variant["contributors"]
        )
    _text(pdf, EDGE, EDGE + 11, words, 9)
    return EDGE + 15


def _table(
    pdf: FPDF, rows: list[tuple[str, bool]], pairs: list[Pair], by_place: dict[Any, Plain], top: float
) -> None:
    for n, (pin, against) in enumerate(pairs):
        text = _("pin {pin} to {against}").format(pin=pin, against=against)
        _text(pdf, EDGE + FIRST + n * CELL + 1, top + 5, text[:18], 7, bold=True)
    for row, (label, between) in enumerate(rows):
        y = top + HEAD + row * ROW
        text = _("behind {position}").format(position=label) if between else label
        _text(pdf, EDGE, y + ROW / 2 + 1, text[:14], 10, bold=not between)
        for n, (pin, against) in enumerate(pairs):
            _cell(pdf, by_place.get((label, between, pin, against)), EDGE + FIRST + n * CELL, y)


def _cell(pdf: FPDF, cell: Plain | None, x: float, y: float) -> None:
    """The frame says the standing, the drawn contact the state (in the manner of IEC 60617), words both."""
    standing = cell["standing"] if cell is not None else "unread"
    state = cell["state"] if cell is not None else None
    if standing != "unread":
        pdf.set_line_width(0.25)
        pdf.set_dash_pattern(*DASHES.get(standing, (0, 0)))
        pdf.rect(x + 0.5, y + 0.5, CELL - 1, ROW - 1)
        pdf.set_dash_pattern()
    _contact(pdf, state, x + 2, y + 3.4)
    word = state_text(state)
    if cell is not None and state == "resistive" and cell["ohm"]:
        word = ohm_text(cell["ohm"]["typical"])
    _text(pdf, x + 2, y + 7.8, word[:20], 7)
    if cell is not None and cell["units"]:
        counted = _("{a} of {n}").format(a=cell["agreeing"], n=cell["units"])
        _text(pdf, x + 2, y + 11.2, f"{counted}, {standing_text(standing)}"[:28], 5.5)


def _contact(pdf: FPDF, state: str | None, x: float, y: float) -> None:
    if state is None:
        return
    pdf.set_line_width(0.5)
    for end in (x, x + 16):
        pdf.ellipse(end - 0.5, y - 0.5, 1, 1, style="F")
    for start, stop in {"open": ((0, 5), (11, 16))}.get(state, ((0, 16),)):
        pdf.line(x + start, y, x + stop, y)
    if state == "resistive":
        pdf.set_fill_color(255, 255, 255)
        pdf.rect(x + 5, y - 1.3, 6, 2.6, style="DF")
        pdf.set_fill_color(0, 0, 0)


def _foot(pdf: FPDF, chart: Plain) -> None:
    words = _("Evidence from bench readings, never a certificate. Check the revision before you rely on it.")
    _text(pdf, EDGE, HEIGHT - EDGE, words, 7)
    _text(pdf, WIDTH - EDGE - 70, HEIGHT - EDGE, str(chart["design"].get("uuid", "")), 6)


def _text(pdf: FPDF, x: float, y: float, text: str, size: float, *, bold: bool = False) -> None:
    pdf.set_font("sheet", "B" if bold else "", size)
    pdf.text(x, y, "".join(sign for sign in text if sign.isprintable()))
