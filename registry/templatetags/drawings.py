"""Drawn things: a contact as circuit diagrams draw it (in the manner of IEC 60617), a connector's face.

State is never by colour: each drawing stands beside its word.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from registry.formats.figures import standing_text, state_text

register = template.Library()

_ENDS = '<circle cx="4" cy="9" r="2.5"/><circle cx="52" cy="9" r="2.5"/>'
CONTACTS = {
    "closed": _ENDS + '<path d="M6.5 9h43"/>',
    "open": _ENDS + '<path d="M6.5 9H19L35 1.5M37 9h12.5"/>',
    "resistive": _ENDS + '<path d="M6.5 9H16M40 9h9.5M16 4h24v10H16z"/>',
}


@register.simple_tag
def contact_shapes() -> SafeString:
    """The three contacts, once a page; `contact` refers to them."""
    symbols = "".join(
        f'<symbol id="contact-{state}" viewBox="0 0 56 18">{shape}</symbol>'
        for state, shape in CONTACTS.items()
    )
    return mark_safe(f'<svg hidden aria-hidden="true">{symbols}</svg>')  # made of constants  # noqa: S308  # nosec B308, B703


@register.simple_tag
def contact(state: str | None, place: str = "") -> SafeString:
    """A contact between two terminals; nothing where it was not read.  Its word must stand beside it."""
    if state not in CONTACTS:
        return mark_safe("")  # nosec B308
    return format_html(
        '<svg class="contact{}" aria-hidden="true"><use href="#contact-{}"/></svg>',
        " contact-inline" if place == "inline" else "",
        state,
    )


@register.filter
def state_word(state: str | None) -> str:
    return state_text(state)


@register.filter
def standing_word(standing: str) -> str:
    return standing_text(standing)


@dataclass(frozen=True)
class Cavity:
    """A cavity as drawn: row and column from 1."""

    label: str
    row: int
    column: int
    empty: bool = False
    note: str = ""
    first: bool = False


STEP, EDGE = 44, 14


def cavities_of(pins: Iterable[Any], common: str | None) -> list[Cavity]:
    """From the pins of a connector, in their order."""
    return [
        Cavity(
            label=pin.label,
            row=pin.row,
            column=pin.column,
            empty=pin.empty,
            note=_("common") if pin.label == common else "",
            first=order == 0,
        )
        for order, pin in enumerate(pins)
    ]


@register.simple_tag
def connector_face(
    pins: Iterable[Any], common: str | None = None, *, mirrored: bool = False, title: str = ""
) -> SafeString:
    """The face of the connector.  mirrored: as seen from the other side, columns the other way round."""
    cavities = cavities_of(pins, common)
    if not cavities:
        return mark_safe("")  # nosec B308
    columns = max(cavity.column for cavity in cavities)
    rows = max(cavity.row for cavity in cavities)
    noted = any(cavity.row == rows and (cavity.note or cavity.empty) for cavity in cavities)
    width = columns * STEP + 2 * EDGE
    height = rows * (STEP + 10) + 2 * EDGE - (0 if noted else 14)
    return format_html(
        '<svg class="connector" viewBox="0 0 {} {}" width="{}" role="img" aria-label="{}">'
        '<rect class="shell" x="1" y="1" width="{}" height="{}" rx="8"/>{}</svg>',
        width,
        height,
        width,
        title or _face_words(cavities, columns, mirrored),
        width - 2,
        height - 2,
        format_html_join("", "{}", ((_cavity(cavity, columns, mirrored),) for cavity in cavities)),
    )


def _cavity(cavity: Cavity, columns: int, mirrored: bool) -> SafeString:
    column = columns + 1 - cavity.column if mirrored else cavity.column
    x, y = EDGE + (column - 1) * STEP + 4, EDGE + (cavity.row - 1) * (STEP + 10)
    return format_html(
        '<g data-pin="{}"><rect class="{}" x="{}" y="{}" width="36" height="36" rx="3"/>'
        '<text x="{}" y="{}">{}</text>{}</g>',
        cavity.label,
        "cavity empty" if cavity.empty else "cavity first" if cavity.first else "cavity",
        x,
        y,
        x + 18,
        y + 24,
        "" if cavity.empty else cavity.label,
        _note(cavity, x, y),
    )


def _note(cavity: Cavity, x: int, y: int) -> SafeString:
    words = _("empty") if cavity.empty else cavity.note
    if not words:
        return mark_safe("")  # nosec B308
    return format_html('<text class="note" x="{}" y="{}">{}</text>', x + 18, y + 48, words)


def _face_words(cavities: list[Cavity], columns: int, mirrored: bool) -> str:
    """The drawing in words, row by row from the left."""
    lines = []
    for row in sorted({cavity.row for cavity in cavities}):
        there = sorted((c for c in cavities if c.row == row), key=lambda c: c.column, reverse=mirrored)
        lines.append(", ".join(_("empty") if c.empty else c.label for c in there))
    return _("Face of the connector, rows from the top, pins from the left: {rows}.").format(
        rows="; ".join(lines)
    )
