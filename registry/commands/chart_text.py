"""An agreed document as charts of text, for a terminal of any width."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from registry.formats.figures import ohm_text, standing_text, state_text
from registry.translation import gettext as _
from registry.translation import ngettext

Plain = Mapping[str, Any]
GAP = "  "
_BREAKS = re.compile("[ \t\n]+")  # not at spaces that hold a figure together


def agreed_lines(document: Plain, width: int) -> Iterator[str]:
    """The lines of all designs: chart by chart, then the sheets that don't fit."""
    sheets: dict[str, list[Plain]] = {}
    for entry in document["submissions"]:
        sheets.setdefault(entry["design"], []).append(entry)
    for number, design in enumerate(document["designs"]):
        if number:
            yield ""
        yield from design_lines(design, width)
        yield from _sheet_lines(sheets.get(design["design"], []), width)


def design_lines(design: Plain, width: int) -> Iterator[str]:
    title = _("{design}: {positions} positions, {pins} pins").format(
        design=design["design"], positions=len(design["positions"]), pins=len(design["pins"])
    )
    common = design["common"]
    title += _(", no common pin") if common is None else _(", common pin {pin}").format(pin=common)
    yield title
    yield "=" * min(len(title), width)
    if not design["variants"]:
        yield _("No sheet that counts yet: nothing is agreed.")
    for variant in design["variants"]:
        if len(design["variants"]) > 1:
            yield _("Variant {variant}: {share:.0%} of units").format(
                variant=variant["variant"], share=variant["share"]
            )
        yield _counts(variant)
        yield from _table(design, variant, width)


def _counts(variant: Plain) -> str:
    units = ngettext("{count} unit", "{count} units", variant["units"]).format(count=variant["units"])
    people = ngettext("{count} person", "{count} people", variant["contributors"]).format(
        count=variant["contributors"]
    )
    cells = Counter(cell["standing"] for cell in variant["cells"])
    order = ("agreed", "provisional", "disputed", "thin", "unread")
    standings = ", ".join(f"{cells[word]} {standing_text(word)}" for word in order if cells[word])
    return _("From {units} by {people}. Cells: {standings}.").format(
        units=units, people=people, standings=standings or "0"
    )


def _table(design: Plain, variant: Plain, width: int) -> Iterator[str]:
    """Positions down, pins across; as many columns side by side as fit, the rest below."""
    common = design["common"]
    by_row: dict[tuple[str, bool], dict[str, Plain]] = {}
    for cell in variant["cells"]:
        row = by_row.setdefault((cell["position"], bool(cell.get("between"))), {})
        row[_column_name(cell, common)] = cell
    names = _ordered(by_row, design["pins"])
    rows = [
        (position, between)
        for position in design["positions"]
        for between in (False, True)
        if (position, between) in by_row
    ]
    labels = [_("{position} …").format(position=p) if between else p for p, between in rows]
    first = max([len(label) for label in labels], default=0)
    texts = {name: [_cell_lines(by_row[row].get(name)) for row in rows] for name in names}
    widths = {
        name: max(len(name), *(len(line) for cell in cells for line in cell)) for name, cells in texts.items()
    }
    for group in _groups(names, widths, width - first):
        yield ""
        yield (" " * first + "".join(GAP + name.ljust(widths[name]) for name in group)).rstrip()
        for at, label in enumerate(labels):
            for line in range(2):
                head = label.ljust(first) if line == 0 else " " * first
                parts = (GAP + texts[name][at][line].ljust(widths[name]) for name in group)
                yield (head + "".join(parts)).rstrip()


def _column_name(cell: Plain, common: str | None) -> str:
    pin, against = cell["pin"], cell["against"]
    if common is not None and common in (pin, against):
        return _("pin {pin}").format(pin=against if pin == common else pin)
    return f"{pin} – {against}"


def _ordered(by_row: Mapping[Any, Mapping[str, Plain]], pins: Sequence[str]) -> list[str]:
    """Columns in connector order of their pins; pairs of lines behind those against the common."""
    place = {pin: number for number, pin in enumerate(pins)}
    cells = {name: cell for row in by_row.values() for name, cell in row.items()}
    return sorted(
        cells,
        key=lambda name: (
            "–" in name,
            *sorted((place.get(cells[name]["pin"], 0), place.get(cells[name]["against"], 0))),
        ),
    )


def _cell_lines(cell: Plain | None) -> tuple[str, str]:
    """State and figure; below them the count, and the standing where it isn't agreed."""
    if cell is None or cell["standing"] == "unread":
        return state_text(None), ""
    text = state_text(cell["state"]) if cell["state"] is not None else _("not clear")
    if cell["ohm"] is not None:
        text += " " + ohm_text(cell["ohm"]["typical"])
    counts = f"{cell['agreeing']}/{cell['units']}"
    if cell["standing"] != "agreed":
        counts += " " + standing_text(cell["standing"])
    return text, counts


def _groups(names: Sequence[str], widths: Mapping[str, int], width: int) -> Iterator[list[str]]:
    group: list[str] = []
    used = 0
    for name in names:
        needed = len(GAP) + widths[name]
        if group and used + needed > width:
            yield group
            group, used = [], 0
        group.append(name)
        used += needed
    if group:
        yield group


def _sheet_lines(sheets: Sequence[Plain], width: int) -> Iterator[str]:
    fitting = sum(sheet["finding"] == "fits" for sheet in sheets)
    if not sheets:
        return
    yield ""
    yield ngettext(
        "{fitting} of {count} sheet fits.", "{fitting} of {count} sheets fit.", len(sheets)
    ).format(fitting=fitting, count=len(sheets))
    for sheet in sheets:
        if sheet["finding"] != "fits":
            yield from wrapped(f"{sheet['submission']}: {sheet['message']}", width)


def wrapped(text: str, width: int, indent: str = "  ") -> Iterator[str]:
    """The text in lines of at most `width` where its words allow it; all but the first are indented."""
    words = _BREAKS.split(text.strip())
    line = text[: len(text) - len(text.lstrip())] + words[0]
    for word in words[1:]:
        if len(line) + 1 + len(word) > width:
            yield line
            line = indent + word
        else:
            line = f"{line} {word}"
    yield line
