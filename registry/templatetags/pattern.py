"""The pattern as a table.  Built here, not in template loops: the chart is the page that must be quick."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django import template
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from registry.formats.figures import ohm_text, standing_text, state_text
from registry.pages.pattern import Heading, PatternTable
from registry.templatetags.drawings import contact
from registry.templatetags.figures import of_units

register = template.Library()


@register.simple_tag
def pattern_table(
    table: PatternTable, *, variant: str = "", chosen: Any = None, differing: Any = (), links: bool = True
) -> SafeString:
    """chosen: place whose readings are shown; differing: places unlike the pattern, marked by a heavy bar."""
    head = "".join(f'<th scope="col">{_heading(column)}</th>' for column in table.columns)
    unread = f'<td><span class="cell unread"><small>{escape(_("not read"))}</small></span></td>'
    base = {"variant": variant} if variant else {}
    rows = []
    for row in table.rows:
        cells = "".join(
            unread if cell is None else _cell(cell, base, chosen, differing, links) for cell in row.cells
        )
        gap = ' class="gap"' if row.gap else ""
        rows.append(f'<tr{gap}><th scope="row">{_heading(row.heading)}</th>{cells}</tr>')
    return mark_safe(  # noqa: S308  every label went through escape
        f'<div class="scroll" role="region" tabindex="0" aria-label="{escape(table.caption)}">'
        f'<table class="pattern"><thead><tr><th scope="col">{escape(table.corner)}</th>{head}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _heading(heading: Heading) -> str:
    note = f" <small>{escape(heading.note)}</small>" if heading.note else ""
    return f"{escape(heading.text)}{note}"


def cell_key(cell: Mapping[str, Any]) -> tuple[Any, ...]:
    """A cell's place, the same whichever lead was where."""
    return (cell["position"], bool(cell.get("between")), *sorted((cell["pin"], cell["against"])))


def _cell(cell: dict[str, Any], base: dict[str, str], chosen: Any, differing: Any, links: bool) -> str:
    key = cell_key(cell)
    figure = cell.get("ohm")
    ohms = (
        f" <span>{escape(ohm_text(figure['typical']))}</span>" if figure and cell["state"] != "open" else ""
    )
    inside = (
        f'{contact(cell["state"])}<span class="word">{escape(state_text(cell["state"]))}</span>{ohms}'
        f' <small class="standing">{escape(standing_text(cell["standing"]))}</small>'
        f" <small>{escape(of_units(cell['agreeing'], cell['units']))}</small>"
    )
    kind = f"cell {cell['standing']}" + (" unlike" if key in differing else "")
    if not links:
        return f'<td><span class="{kind}">{inside}</span></td>'
    asked = {**base, "position": cell["position"], "pin": cell["pin"], "against": cell["against"]}
    if cell.get("between"):
        asked["between"] = "1"
    current = ' aria-current="true"' if key == chosen else ""
    return f'<td><a class="{kind}"{current} href="?{escape(urlencode(asked))}#readings">{inside}</a></td>'


@register.simple_tag
def state_drawn(state: str | None, figure: dict[str, Any] | None = None) -> SafeString:
    """Contact, word and figure in a line."""
    ohms = " " + ohm_text(figure["typical"]) if figure and state not in ("open", None) else ""
    return format_html("{} <strong>{}</strong>{}", contact(state, "inline"), state_text(state), ohms)
