"""A variant's key is given once and never changes, though shares do.

The engine names the tables of a computation by itself; where its name for a table is not the one that the
table already has here, the inputs of the chart say which name stands for which.
"""

from __future__ import annotations

import json
from itertools import count
from math import log
from string import ascii_lowercase
from typing import Any

from registry.models import Design, Variant

Table = dict[str, str | None]
Levels = dict[str, float]
ANOTHER_TABLE = 0.5  # share of places that differ from which a table can't be the one of a key


def keys_for(design: Design, content: dict[str, Any], bound: set[str] | None = None) -> dict[str, str]:
    """engine's key → permanent key, only where they differ; new tables get the next free key.

    bound: keys that a moderator's split or merge gave to sheets; a table of that name keeps it.
    """
    known = {variant.key: variant.table for variant in sorted(design.variants.all(), key=_made)}
    tables = {variant["variant"]: _table(variant) for variant in content["variants"]}
    levels = {variant["variant"]: _levels(variant) for variant in content["variants"]}
    shown = _levels_before(design) if len(tables) > 1 else {}
    given: dict[str, str] = {name: name for name in tables if name in (bound or set())}
    pairs = sorted(
        (_difference(table, states), _apart(levels[name], shown.get(key, {})), key, name)
        for name, table in tables.items()
        for key, states in known.items()
    )
    only_one = len(tables) == 1 and len(known) == 1  # nothing to confuse it with, whatever changed
    for difference, _level, key, name in pairs:
        if name not in given and key not in given.values() and (difference < ANOTHER_TABLE or only_one):
            given[name] = key
    for name in tables:
        if name not in given:
            given[name] = _free(name, {*known, *given.values()})
    return {name: key for name, key in sorted(given.items()) if name != key}


def keys_store(design: Design, content: dict[str, Any]) -> None:
    """Keep what was last computed under each key, so that slow changes don't lose it."""
    known = {variant.key: variant for variant in design.variants.all()}
    for computed in content["variants"]:
        table, variant = _table(computed), known.get(computed["variant"])
        if variant is None:
            Variant(design=design, key=computed["variant"], table=table).save(force_insert=True)
        elif variant.table != table:
            variant.table = table
            variant.save(update_fields=["table"])


def _made(variant: Variant) -> int:
    """In the order in which they were made."""
    return variant.pk


def _free(wanted: str, taken: set[str]) -> str:
    if wanted not in taken:
        return wanted
    return next(
        key
        for n in count()
        for letter in ascii_lowercase
        if (key := letter if n == 0 else f"{letter}{n}") not in taken
    )


def _table(variant: dict[str, Any]) -> Table:
    return {_place(cell): cell["state"] for cell in variant["cells"] if cell["state"] is not None}


def _levels(variant: dict[str, Any]) -> Levels:
    """Ω of its resistive places, which tell tables of the same states apart."""
    resistive = (cell for cell in variant["cells"] if cell["state"] == "resistive" and cell.get("ohm"))
    return {_place(cell): cell["ohm"]["typical"] for cell in resistive}


def _levels_before(design: Design) -> dict[str, Levels]:
    """By key, of what was computed last."""
    newest = design.revisions.order_by("-number").values_list("content", flat=True).first()
    variants = [] if newest is None else json.loads(bytes(newest))["variants"]
    return {variant["variant"]: _levels(variant) for variant in variants}


def _place(cell: dict[str, Any]) -> str:
    return f"{cell['position']}|{cell.get('between', False)}|{cell['pin']}|{cell['against']}"


def _difference(a: Table, b: Table) -> float:
    """Share of the places in both that differ; 1 where there is none."""
    both = a.keys() & b.keys()
    return sum(a[place] != b[place] for place in both) / len(both) if both else 1.0


def _apart(a: Levels, b: Levels) -> float:
    """How far the levels of the places in both lie apart, in ln(Ω) on average; 0 where there is none."""
    both = a.keys() & b.keys()
    return sum(abs(log(a[place] / b[place])) for place in sorted(both)) / len(both) if both else 0.0
