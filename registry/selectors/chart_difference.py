"""What a reader sees change between two charts: variants that came or went, cells that read otherwise."""

from __future__ import annotations

from typing import Any

Plain = dict[str, Any]
CELL_FACTS = ("state", "standing", "units", "agreeing", "contributors", "ohm")


def chart_difference(older: Plain, newer: Plain) -> Plain:
    """JSON-ready: `variants` and `cells` that differ, each with what it was and what it is."""
    before = {variant["variant"]: variant for variant in older["variants"]}
    after = {variant["variant"]: variant for variant in newer["variants"]}
    return {
        "shape_changed": _shape(older) != _shape(newer),
        "variants_added": [key for key in after if key not in before],
        "variants_removed": [key for key in before if key not in after],
        "variants": [
            {"variant": key, "from": _share(before[key]), "to": _share(after[key])}
            for key in after
            if key in before and _share(before[key]) != _share(after[key])
        ],
        "cells": [
            {"variant": key, **cell}
            for key in sorted({*before, *after})
            for cell in _cells(before.get(key), after.get(key))
        ],
    }


def _shape(chart: Plain) -> list[Any]:
    design = chart["design"]
    return [design.get("positions"), design.get("pins"), design.get("common")]


def _share(variant: Plain) -> Plain:
    return {name: variant[name] for name in ("share", "submissions", "units", "contributors")}


def _cells(older: Plain | None, newer: Plain | None) -> list[Plain]:
    before, after = _by_place(older), _by_place(newer)
    places = list(dict.fromkeys([*after, *before]))
    return [
        {
            "position": position,
            "between": between,
            "pin": pin,
            "against": against,
            "from": before.get(place),
            "to": after.get(place),
        }
        for place in places
        if before.get(place) != after.get(place)
        for position, between, pin, against in [place]
    ]


def _by_place(variant: Plain | None) -> dict[tuple[str, bool, str, str], Plain]:
    if variant is None:
        return {}
    return {
        (cell["position"], bool(cell.get("between", False)), cell["pin"], cell["against"]): {
            name: cell.get(name) for name in CELL_FACTS
        }
        for cell in variant["cells"]
    }
