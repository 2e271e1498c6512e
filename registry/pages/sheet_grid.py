"""The grid of a bench sheet: one field for each place, in the order in which a bench is worked.

A lead stays on a pin while the lever goes through the positions; then the next pin.  Field names are
numbers (`r-step-pin-against-sweep-between`, pins by order), so that a draft on a phone outlives renaming.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from registry.models import Design, Pin, Position

MOST_PAIRS = 120


@dataclass(frozen=True)
class GridPlace:
    position: Position
    pin: Pin
    against: Pin
    sweep: int = 1
    between: bool = False

    @property
    def name(self) -> str:
        return (
            f"r-{self.position.step}-{self.pin.order}-{self.against.order}-{self.sweep}-{int(self.between)}"
        )

    def row(self, reading: str) -> dict[str, Any]:
        """The reading as a body of JSON has it."""
        return {
            "position": self.position.label,
            "pin": self.pin.label,
            "against": self.against.label,
            "reading": reading,
            "sweep": self.sweep,
            "between": self.between,
        }


@dataclass(frozen=True)
class SheetGrid:
    """places in the order of work; rows and pairs lay them out as a table."""

    places: tuple[GridPlace, ...]
    pairs: tuple[tuple[Pin, Pin], ...]
    rows: tuple[tuple[Position, int, bool], ...]
    common: Pin | None

    def table(self, values: Mapping[str, str], wrong: Mapping[str, list[str]]) -> list[dict[str, Any]]:
        """For the template: a row a position, with the fields of its places."""
        named = {(p.position.pk, p.sweep, p.between, p.pin.pk, p.against.pk): p.name for p in self.places}
        table = []
        for position, sweep, between in self.rows:
            fields = []
            for pin, against in self.pairs:
                name = named[position.pk, sweep, between, pin.pk, against.pk]
                fields.append(
                    {
                        "name": name,
                        "pin": pin,
                        "against": against,
                        "value": values.get(name, ""),
                        "wrong": wrong.get(name),
                    }
                )
            table.append({"position": position, "sweep": sweep, "between": between, "fields": fields})
        return table

    def readings(self, values: Mapping[str, str]) -> tuple[list[dict[str, Any]], list[str]]:
        """Rows of a body for every field that holds something, and the names of their fields."""
        filled = [place for place in self.places if values.get(place.name, "").strip()]
        return [place.row(values[place.name].strip()) for place in filled], [p.name for p in filled]

    def steps(self) -> list[dict[str, Any]]:
        """For the module that asks one reading at a time."""
        return [
            {
                "name": place.name,
                "pin": place.pin.label,
                "against": place.against.label,
                "common": self.common is not None and place.against.pk == self.common.pk,
                "position": place.position.label,
                "spoken": place.position.name or place.position.label,
                "step": place.position.step,
                "sweep": place.sweep,
                "between": place.between,
            }
            for place in self.places
        ]


def sheet_grid(
    design: Design, *, chart: Mapping[str, Any] | None = None, sweeps: int = 1, between: bool = False
) -> SheetGrid:
    """chart: content of the current chart, for the pairs that a design without a common is read at."""
    connector = design.connector
    pins = [pin for pin in connector.pins.all() if not pin.empty]
    common = connector.common
    if common is not None:
        pairs = [(pin, common) for pin in pins if pin.pk != common.pk]
    else:
        pairs = _charted_pairs(pins, chart) or list(combinations(pins, 2))[:MOST_PAIRS]
    positions = list(design.positions.all())
    out = [(p, 1, gap) for p in positions for gap in (False, True) if not gap or between]
    if between:
        out.pop()  # behind the last detent there is nothing
    rows = list(out)
    for sweep in range(2, sweeps + 1):
        rows += [(p, sweep, gap) for p, _, gap in (reversed(out) if sweep % 2 == 0 else out)]
    places = [
        GridPlace(position, pin, against, sweep, gap)
        for pin, against in pairs
        for position, sweep, gap in rows
    ]
    return SheetGrid(tuple(places), tuple(pairs), tuple(rows), common)


def _charted_pairs(pins: list[Pin], chart: Mapping[str, Any] | None) -> list[tuple[Pin, Pin]]:
    by_label = {pin.label: pin for pin in pins}
    found = set()
    for variant in chart["variants"] if chart else ():
        for cell in variant["cells"]:
            if cell["pin"] in by_label and cell["against"] in by_label:
                ends = sorted((by_label[cell["pin"]], by_label[cell["against"]]), key=lambda p: p.order)
                found.add((ends[0].order, ends[1].order))
    by_order = {pin.order: pin for pin in pins}
    return [(by_order[a], by_order[b]) for a, b in sorted(found)]
