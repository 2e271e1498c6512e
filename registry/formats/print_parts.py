"""What prints share: the face of a connector, an address as a QR code, text that fits its room."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import segno
from fpdf import FPDF

from registry.translation import gettext as _

FONTS = Path(__file__).parent / "fonts"
CAVITY, BETWEEN = 9.0, 2.0  # mm


@dataclass(frozen=True)
class PrintCavity:
    label: str
    row: int
    column: int
    empty: bool = False


@dataclass(frozen=True)
class PrintFace:
    """A connector as drawn, and in words from which side it is."""

    cavities: Sequence[PrintCavity]
    landmark: str
    facing: str


def add_fonts(pdf: FPDF) -> None:
    pdf.add_font("sheet", "", FONTS / "DejaVuSans.ttf")
    pdf.add_font("sheet", "B", FONTS / "DejaVuSans-Bold.ttf")


def facing_words(viewing: str) -> str:
    """From which side the connector is drawn; empty where that is not known."""
    if viewing == "into_switch":
        return _("Drawn as you look into the switch.")
    return _("Drawn as you look into the harness plug.") if viewing == "into_plug" else ""


def leads_words(common: str | None) -> str:
    if common is None:
        return _("Each reading is between the two pins named.")
    return _("One lead stays on pin {pin}, the common.").format(pin=common)


def face_words(face: PrintFace) -> list[str]:
    mark = face.landmark.strip().rstrip(".")
    mark = f"{mark[:1].upper()}{mark[1:]}." if mark else ""
    return [words for words in (face.facing, mark, _("Heavy outline: the first pin.")) if words]


def draw_code(pdf: FPDF, address: str, x: float, y: float, width: float) -> None:
    code = io.BytesIO()
    segno.make(address, error="m").save(code, kind="png", scale=6, border=1)
    pdf.image(code, x=x, y=y, w=width)


def face_step(cavities: Sequence[PrintCavity], room: float, height: float = float("inf")) -> float:
    """From one cavity to the next, mm: as large as fits."""
    rows, columns = face_size(cavities)
    return min(CAVITY + BETWEEN, room / columns, height / rows)


def face_size(cavities: Sequence[PrintCavity]) -> tuple[int, int]:
    """Rows and columns."""
    rows = max((cavity.row for cavity in cavities), default=1)
    return rows, max((cavity.column for cavity in cavities), default=1)


def draw_face(
    pdf: FPDF, cavities: Sequence[PrintCavity], x: float, y: float, step: float
) -> tuple[float, float]:
    """Shell and cavities, the first one heavy, an empty one dashed.  How wide and high it is, mm."""
    rows, columns = face_size(cavities)
    size = step - min(BETWEEN, step / 4)
    pdf.set_line_width(0.3)
    pdf.rect(x, y, columns * step + 4, rows * step + 4, round_corners=True, corner_radius=2)
    for n, cavity in enumerate(cavities):
        left, top = x + 3 + (cavity.column - 1) * step, y + 3 + (cavity.row - 1) * step
        pdf.set_line_width(0.7 if n == 0 else 0.3)
        if cavity.empty:
            pdf.set_dash_pattern(0.8, 0.8)
        pdf.rect(left, top, size, size)
        pdf.set_dash_pattern()
        if not cavity.empty:
            pdf.set_font("sheet", "B", 9 if size > 6 else 6)
            pdf.set_xy(left, top)
            pdf.cell(size, size, cavity.label, align="C")
    return columns * step + 4, rows * step + 4


def fitted(pdf: FPDF, text: str, width: float, size: float, *, bold: bool = False) -> str:
    """As much of the text as there is room for."""
    pdf.set_font("sheet", "B" if bold else "", size)
    if pdf.get_string_width(text) <= width:
        return text
    while text and pdf.get_string_width(text + "…") > width:
        text = text[:-1]
    return text + "…"
