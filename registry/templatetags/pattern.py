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
    writer = CellWriter({"variant": variant} if variant else {}, chosen, differing, links)
    rows = []
    for row in table.rows:
        cells = "".join(unread if cell is None else writer.write(cell) for cell in row.cells)
        gap = ' class="gap"' if row.gap else ""
        rows.append(f'<tr{gap}><th scope="row">{_heading(row.heading)}</th>{cells}</tr>')
    return mark_safe(  # every label went through escape  # noqa: S308  # nosec B308, B703
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


class CellWriter:
    """Writes the cells of one table; each word is looked up once, not once a cell."""

    def __init__(self, base: dict[str, str], chosen: Any, differing: Any, links: bool) -> None:
        self.base, self.chosen, self.differing, self.links = base, chosen, differing, links
        self.states: dict[str | None, str] = {}
        self.standings: dict[str, str] = {}
        self.counts: dict[tuple[int, int], str] = {}

    def write(self, cell: dict[str, Any]) -> str:
        key = cell_key(cell)
        kind = f"cell {cell['standing']}" + (" unlike" if key in self.differing else "")
        inside = self._inside(cell)
        if not self.links:
            return f'<td><span class="{kind}">{inside}</span></td>'
        asked = {**self.base, "position": cell["position"], "pin": cell["pin"], "against": cell["against"]}
        if cell.get("between"):
            asked["between"] = "1"
        current = ' aria-current="true"' if key == self.chosen else ""
        query = escape(urlencode(asked))
        return f'<td><a class="{kind}"{current} href="?{query}#readings">{inside}</a></td>'

    def _inside(self, cell: dict[str, Any]) -> str:
        state, standing, count = cell["state"], cell["standing"], (cell["agreeing"], cell["units"])
        if state not in self.states:
            self.states[state] = f'{contact(state)}<span class="word">{escape(state_text(state))}</span>'
        if standing not in self.standings:
            self.standings[standing] = f'<small class="standing">{escape(standing_text(standing))}</small>'
        if count not in self.counts:
            self.counts[count] = f"<small>{escape(of_units(*count))}</small>"
        figure = cell.get("ohm")
        ohms = f" <span>{escape(ohm_text(figure['typical']))}</span>" if figure and state != "open" else ""
        return f"{self.states[state]}{ohms} {self.standings[standing]} {self.counts[count]}"


@register.simple_tag
def state_drawn(state: str | None, figure: dict[str, Any] | None = None) -> SafeString:
    """Contact, word and figure in a line."""
    ohms = " " + ohm_text(figure["typical"]) if figure and state not in ("open", None) else ""
    return format_html("{} <strong>{}</strong>{}", contact(state, "inline"), state_text(state), ohms)
