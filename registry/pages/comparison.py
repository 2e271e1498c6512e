"""How a sheet compares with the pattern, in sentences, before it is sent."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.formats.figures import cell_text, state_text
from registry.templatetags.pattern import cell_key

READER = ("mirrored_pins", "wrong_common", "shifted_positions", "exchanged", "other_variant", "other_design")
LIKELY = 0.3
MOST_NAMED = 8
Plain = Mapping[str, Any]


def compare_words(preview: Plain, chart: Plain | None, names: Mapping[Any, str]) -> dict[str, Any]:
    """preview: of `sheet_preview`; chart: content of the current chart; names: place → field of the grid."""
    comparison = preview["comparison"]
    if chart is None or comparison is None:
        return {"first": True, "adds": _adds(preview["adds"]), "warnings": preview["warnings"]}
    table = _table(chart, comparison.get("variant"))
    cells = {cell_key(cell): cell for cell in table["cells"]}
    unlike = [
        _unlike(cell, cells.get(cell_key(cell), {}), chart["common"], names) for cell in comparison["unlike"]
    ]
    return {
        "first": False,
        "agree": _agree(comparison["agreeing"], comparison["compared"], table["units"]),
        "unlike": unlike[:MOST_NAMED],
        "more": len(unlike[MOST_NAMED:]),
        "explained": [
            c["message"] for c in comparison["causes"] if c["cause"] in READER and c["p"] >= LIKELY
        ],
        "adds": _adds(preview["adds"]),
        "warnings": preview["warnings"],
    }


def _table(chart: Plain, variant: str | None) -> Plain:
    tables: list[Plain] = chart["variants"]
    largest = tables[0] if tables else {"cells": [], "units": 0}
    return next((table for table in tables if table["variant"] == variant), largest)


def _agree(agreeing: int, compared: int, units: int) -> str:
    if compared == 0:
        return _("None of these places has been read in another unit yet.")
    return ngettext(
        "{agreeing} of {compared} readings agree with {units} unit.",
        "{agreeing} of {compared} readings agree with {units} units.",
        units,
    ).format(agreeing=agreeing, compared=compared, units=units)


def _unlike(read: Plain, cell: Plain, common: str | None, names: Mapping[Any, str]) -> dict[str, Any]:
    """“Pin 4 in R reads open in your unit; closed in 11 of 11 good ones. Touch that pin again.”"""
    place = cell_text(read, common)
    sentence = _("{place} reads {read} in your unit; {expected} in {agreeing} of {units} good ones.").format(
        place=place[:1].upper() + place[1:],
        read=read["read"],
        expected=state_text(read["expected"]),
        agreeing=cell.get("agreeing", 0),
        units=cell.get("units", 0),
    )
    return {"sentence": sentence, "field": names.get(cell_key(read), ""), "place": place}


def _adds(adds: Plain) -> str:
    """What this sheet is worth to the pattern, in units still needed."""
    mine = adds["units"] + 1
    start = ngettext("You are unit {n}.", "You are unit {n}.", mine).format(n=mine)
    if adds["units"] == 0:
        start = _("You are the first unit of this design.")
    elif adds["units"] == 1:
        start = _("You are the second unit.")
    units, people = max(0, adds["units_needed"] - 1), max(0, adds["contributors_needed"] - 1)
    if not units and not people:
        return start
    needed = ngettext("{n} more unit", "{n} more units", max(units, people)).format(n=max(units, people))
    return _("{start} After it, {needed} are needed for “agreed”.").format(start=start, needed=needed)
