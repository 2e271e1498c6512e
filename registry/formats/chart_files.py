"""A published chart as a table (CSV) and as a drawing (SVG).  Made from the stored document alone."""

from __future__ import annotations

import csv
import io
from typing import Any
from xml.sax.saxutils import escape  # nosec B406

from registry.formats.figures import ohm_text, standing_text, state_text
from registry.formats.safe_cells import safe_text
from registry.translation import gettext as _

Plain = dict[str, Any]
COLUMNS = (
    "design",
    "revision",
    "revision_state",
    "variant",
    "position",
    "between",
    "pin",
    "against",
    "state",
    "p_open",
    "standing",
    "units",
    "agreeing",
    "contributors",
    "typical_ohm",
    "accept_low_ohm",
    "accept_high_ohm",
)
CELL_WIDTH, CELL_HEIGHT, LEFT, TOP = 96, 56, 96, 88


def chart_csv(chart: Plain, *, revision: int, state: str) -> str:
    """One cell a row.  A text that a spreadsheet would take for a formula is led by an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(COLUMNS)
    name = safe_text(chart["design"]["name"])
    for variant in chart["variants"]:
        for cell in variant["cells"]:
            ohm = cell["ohm"] or {"typical": None, "accept": [None, None]}
            writer.writerow(
                [
                    name,
                    revision,
                    state,
                    safe_text(variant["variant"]),
                    safe_text(cell["position"]),
                    "yes" if cell.get("between") else "",
                    safe_text(cell["pin"]),
                    safe_text(cell["against"]),
                    cell["state"] or "",
                    cell["p_open"],
                    cell["standing"],
                    cell["units"],
                    cell["agreeing"],
                    cell["contributors"],
                    ohm["typical"],
                    *ohm["accept"],
                ]
            )
    return out.getvalue()


def chart_svg(chart: Plain, *, revision: int, state: str) -> str:
    """The largest variant: positions down in detent order, pairs of pins across; contact, word, count."""
    variants: list[Plain] = chart["variants"][:1]
    cells: list[Plain] = [
        cell for variant in variants for cell in variant["cells"] if not cell.get("between")
    ]
    pairs = list(dict.fromkeys((cell["pin"], cell["against"]) for cell in cells))
    labels = list(chart["design"]["positions"])
    by_place = {(cell["position"], (cell["pin"], cell["against"])): cell for cell in cells}
    width, height = LEFT + CELL_WIDTH * len(pairs) + 8, TOP + CELL_HEIGHT * len(labels) + 8
    title = _("{name}, revision {n}").format(name=chart["design"]["name"], n=revision)
    if state == "withdrawn":
        title = _("WITHDRAWN: {title}").format(title=title)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" role="img" font-family="sans-serif" fill="#1c2126">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text x="8" y="28" font-size="18">{escape(title)}</text>',
    ]
    for column, (pin, against) in enumerate(pairs):
        text = escape(_("pin {pin} to {against}").format(pin=pin, against=against))
        parts.append(
            f'<text x="{LEFT + CELL_WIDTH * column + 8}" y="{TOP - 12}" font-size="12">{text}</text>'
        )
    for row, label in enumerate(labels):
        top = TOP + CELL_HEIGHT * row
        parts.append(f'<text x="8" y="{top + 32}" font-size="16">{escape(label)}</text>')
        for column, pair in enumerate(pairs):
            found = by_place.get((label, pair))
            parts.append(_cell(found, LEFT + CELL_WIDTH * column, top))
    return "".join([*parts, "</svg>"])


def _cell(cell: Plain | None, x: int, y: int) -> str:
    """The frame, the drawn contact (in the manner of IEC 60617), the word, how many units."""
    dash = {"provisional": ' stroke-dasharray="6 3"', "thin": ' stroke-dasharray="1 3"'}
    standing = cell["standing"] if cell else "unread"
    frame = (
        ""
        if standing == "unread"
        else f'<rect x="{x + 2}" y="{y + 2}" width="{CELL_WIDTH - 4}" height="{CELL_HEIGHT - 4}" '
        f'fill="none" stroke="#8a8578"{dash.get(standing, "")}/>'
    )
    state = cell["state"] if cell else None
    word = state_text(state)
    if cell and state == "resistive" and cell["ohm"]:
        word = ohm_text(cell["ohm"]["typical"])
    below = ""
    if cell and cell["units"]:
        below = _("{a} of {n}").format(a=cell["agreeing"], n=cell["units"])
        if standing == "disputed":
            below = f"{below}, {standing_text(standing)}"
    return (
        f"{frame}{_contact(state, x + 10, y + 18)}"
        f'<text x="{x + 10}" y="{y + 36}" font-size="11">{escape(word)}</text>'
        f'<text x="{x + 10}" y="{y + 48}" font-size="9" fill="#5a6069">{escape(below)}</text>'
    )


def _contact(state: str | None, x: int, y: int) -> str:
    if state is None:
        return ""
    pen = 'stroke="#1c2126" stroke-width="2"'
    ends = f'<circle cx="{x}" cy="{y}" r="2"/><circle cx="{x + 60}" cy="{y}" r="2"/>'
    whole = f"M{x} {y}H{x + 60}"
    drawn = {
        "closed": f'<path d="{whole}" {pen}/>',
        "open": f'<path d="M{x} {y}H{x + 20}M{x + 40} {y}H{x + 60}" {pen}/>',
        "resistive": f'<path d="{whole}" {pen}/>'
        f'<rect x="{x + 20}" y="{y - 5}" width="20" height="10" fill="#fff" {pen}/>',
    }
    return ends + drawn[state]
