"""The report of a job: one page that fits A4 and Letter, black on white, right when photocopied.

Pattern and readings share one table: in each cell the drawn contact that good units show, below it what the
old unit read and what the new one did.  A difference is a heavy bar and bold text, never a colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fpdf import FPDF
from fpdf.enums import Align, XPos, YPos

from registry.formats.blank_sheet import EDGE, HEIGHT, WIDTH
from registry.formats.print_parts import add_fonts, fitted
from registry.translation import gettext as _

ROOM = WIDTH - 2 * EDGE
NAMES = 31.0  # mm for the name of a fact
FIRST, TALLEST, WIDEST, NARROWEST, LOWEST = 17.0, 15.0, 30.0, 9.0, 5.5  # mm


@dataclass(frozen=True)
class ReportCell:
    """state: what good units show, None where nothing was read; old, new: as typed."""

    state: str | None
    old: str = ""
    new: str = ""
    unlike: bool = False


@dataclass(frozen=True)
class JobReport:
    """facts: name and value; steps: name, state, day, words; rows: position and its cells, by columns."""

    title: str
    facts: Sequence[tuple[str, str]]
    verdicts: Sequence[str]
    pattern: str  # of which revision, from how many units
    columns: Sequence[str]
    rows: Sequence[tuple[str, Sequence[ReportCell]]]
    steps: Sequence[tuple[str, str, str, str]]
    cautions: Sequence[str]
    printed: str
    stop: str = ""


def report_pdf(report: JobReport) -> bytes:
    """The report as PDF, always one page: what is long is shortened, and says so."""
    pdf = FPDF(format=(WIDTH, HEIGHT))
    pdf.set_auto_page_break(False)
    pdf.set_margin(EDGE)
    pdf.c_margin = 0
    add_fonts(pdf)
    pdf.set_title(report.title)
    pdf.add_page()
    _head(pdf, report)
    foot = _foot_height(pdf, report)
    _table(pdf, report, HEIGHT - EDGE - foot)
    _steps(pdf, report, HEIGHT - EDGE - _cautions_height(pdf, report))
    _cautions(pdf, report)
    return bytes(pdf.output())


def _write(pdf: FPDF, text: str, size: float, *, bold: bool = False, height: float = 0.0) -> None:
    pdf.set_font("sheet", "B" if bold else "", size)
    line = height or size * 0.46
    pdf.multi_cell(ROOM, line, text, align=Align.L, new_x=XPos.LMARGIN, new_y=YPos.NEXT)


def _head(pdf: FPDF, report: JobReport) -> None:
    pdf.set_xy(EDGE, EDGE)
    _write(pdf, fitted(pdf, report.title, ROOM, 15, bold=True), 15, bold=True)
    pdf.ln(1)
    if report.stop:
        pdf.set_line_width(0.8)
        top = pdf.get_y()
        pdf.set_xy(EDGE, top + 1.5)
        _write(pdf, report.stop, 10, bold=True)
        pdf.rect(EDGE - 1.5, top, ROOM + 3, pdf.get_y() - top + 1.5)
        pdf.ln(3)
    _facts(pdf, report.facts)
    for sentence in report.verdicts:
        _write(pdf, cut(sentence, 260), 9, bold=True)
    pdf.ln(1)


def _facts(pdf: FPDF, facts: Sequence[tuple[str, str]]) -> None:
    """Two in a row; one that needs more room has a row of its own."""
    half, y, right = ROOM / 2, pdf.get_y(), False
    for name, value in facts:
        pdf.set_font("sheet", "B", 8.5)
        wide = pdf.get_string_width(value) > half - NAMES
        if right and wide:
            y, right = y + 4.6, False
        x = EDGE + half if right else EDGE
        pdf.text(x + NAMES, y + 3, fitted(pdf, value, (ROOM if wide else half) - NAMES - 2, 8.5, bold=True))
        pdf.set_font("sheet", "", 7)
        pdf.text(x, y + 3, name)
        y, right = (y, True) if not right and not wide else (y + 4.6, False)
    pdf.set_xy(EDGE, y + (4.6 if right else 0) + 2)


def _table(pdf: FPDF, report: JobReport, lowest: float) -> None:
    if not report.rows:
        if report.pattern:
            _write(pdf, report.pattern, 8)
        return
    _write(pdf, report.pattern, 7.5)
    pdf.ln(0.5)
    top = pdf.get_y() + 4.5
    width = min(WIDEST, (ROOM - FIRST) / len(report.columns))
    height = min(TALLEST, (lowest - top) / len(report.rows))
    columns, rows = list(report.columns), list(report.rows)
    if width < NARROWEST or height < LOWEST:
        _write(pdf, _("The table is too large for one page; its differences are in the verdict."), 8)
        return
    size = max(4.5, min(7.0, width * 0.36, height * 0.62))
    pdf.set_font("sheet", "B", size)
    for n, column in enumerate(columns):
        pdf.set_xy(EDGE + FIRST + n * width, top - 4.5)
        pdf.cell(width, 4, fitted(pdf, column, width - 0.5, size, bold=True), align="C")
    for n, (label, cells) in enumerate(rows):
        y = top + n * height
        pdf.set_font("sheet", "B", 9 if height > 8 else 7)
        pdf.set_xy(EDGE, y)
        pdf.cell(FIRST, height, fitted(pdf, label, FIRST - 1, 9, bold=True))
        for k, cell in enumerate(cells):
            _cell(pdf, cell, EDGE + FIRST + k * width, y, width, height, size)
    pdf.set_xy(EDGE, top + len(rows) * height + 1.5)


def _cell(pdf: FPDF, cell: ReportCell, x: float, y: float, width: float, height: float, size: float) -> None:
    pdf.set_line_width(0.15)
    pdf.rect(x, y, width, height)
    if cell.unlike:
        pdf.set_line_width(1.2)
        pdf.line(x + 0.6, y, x + 0.6, y + height)
    third = height / 3
    _contact(pdf, cell.state, x + width * 0.22, y + third * 0.55, width * 0.56)
    for n, (text, bold) in enumerate(((cell.old, cell.unlike), (cell.new, False)), start=1):
        if text:
            pdf.set_font("sheet", "B" if bold else "", size)
            pdf.set_xy(x, y + n * third)
            pdf.cell(width, third, fitted(pdf, text, width - 2, size, bold=bold), align="C")


def _contact(pdf: FPDF, state: str | None, x: float, y: float, width: float) -> None:
    """In the manner of IEC 60617: a line, a line with a gap, a line through a box; nothing where not read."""
    if state is None:
        return
    pdf.set_line_width(0.35)
    part = width / 3
    pdf.line(x, y, x + part, y)
    pdf.line(x + 2 * part, y, x + width, y)
    if state == "closed":
        pdf.line(x + part, y, x + 2 * part, y)
    elif state == "resistive":
        pdf.rect(x + part, y - 0.8, part, 1.6)
    for end in (x, x + width):
        pdf.ellipse(end - 0.35, y - 0.35, 0.7, 0.7, style="F")


def _steps(pdf: FPDF, report: JobReport, lowest: float) -> None:
    for name, state, day, words in report.steps:
        if pdf.get_y() + 3.6 > lowest:
            break
        y = pdf.get_y()
        pdf.set_font("sheet", "B", 7)
        pdf.text(EDGE, y + 2.8, fitted(pdf, name, 52, 7, bold=True))
        pdf.set_font("sheet", "", 7)
        pdf.text(EDGE + 53, y + 2.8, fitted(pdf, " ".join(part for part in (state, day) if part), 38, 7))
        pdf.text(EDGE + 92, y + 2.8, fitted(pdf, words.replace("\n", " "), ROOM - 92, 7))
        pdf.set_xy(EDGE, y + 3.6)


def _cautions_height(pdf: FPDF, report: JobReport) -> float:
    pdf.set_font("sheet", "", 6.5)
    lines: list[str] = []
    for text in _foot_lines(report):
        lines += pdf.multi_cell(ROOM, 3, text, dry_run=True, output="LINES")  # type: ignore[arg-type]
    return len(lines) * 3 + 2


def _foot_height(pdf: FPDF, report: JobReport) -> float:
    return _cautions_height(pdf, report) + len(report.steps) * 3.6 + 3


def _foot_lines(report: JobReport) -> list[str]:
    return [*report.cautions, report.printed]


def _cautions(pdf: FPDF, report: JobReport) -> None:
    pdf.set_xy(EDGE, HEIGHT - EDGE - _cautions_height(pdf, report) + 1)
    for text in _foot_lines(report):
        _write(pdf, text, 6.5, height=3)


def cut(text: str, longest: int) -> str:
    """
    >>> cut("a long story", 7)
    'a long…'
    """
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
