"""A stored sheet as a table: what was typed, drawn as the contact it shows, unlike cells marked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from registry.models import Pin, Reading
from registry.pages.strip_plot import state_of


@dataclass(frozen=True)
class SheetCell:
    as_typed: str
    state: str | None
    first_pass: bool
    unlike: bool
    beyond: str = ""  # "warning" or "action" where the figure is beyond the typical


@dataclass(frozen=True)
class SheetRow:
    label: str
    note: str
    cells: list[SheetCell | None]


@dataclass(frozen=True)
class SheetTable:
    columns: list[str]
    rows: list[SheetRow]


def sheet_table(
    readings: Iterable[Reading], common: Pin | None, finding: dict[str, Any] | None
) -> SheetTable:
    """finding: the body of the sheet's finding; the cells it names are marked, and its unusual figures."""
    found: dict[tuple[int, bool, int], dict[tuple[Pin, Pin], Reading]] = {}
    labels: dict[tuple[int, bool, int], str] = {}
    pairs: set[tuple[Pin, Pin]] = set()
    for reading in readings:
        place = reading.place
        pins = _ends(place.pin_a, place.pin_b, common)
        row = (reading.sweep, place.position.step, place.between)
        key = (row[0], row[2], row[1])
        labels[key] = place.position.label
        found.setdefault(key, {})[pins] = reading
        pairs.add(pins)
    marked = {
        (c["position"], bool(c.get("between")), frozenset((c["pin"], c["against"])))
        for c in (finding or {}).get("cells", [])
        if c.get("against")
    }
    beyond = {
        (c["position"], bool(c.get("between")), frozenset((c["pin"], c["against"]))): c["word"]
        for c in (finding or {}).get("unusual", [])
    }
    columns = sorted(pairs, key=lambda ends: (ends[0].order, ends[1].order))
    rows = []
    for key in sorted(found, key=lambda k: (k[0], k[2], k[1])):
        sweep, between, _step = key
        cells = [_cell(found[key].get(ends), labels[key], between, ends, marked, beyond) for ends in columns]
        note = ", ".join(_notes(sweep, between))
        rows.append(SheetRow(labels[key], note, cells))
    return SheetTable([_column(ends, common) for ends in columns], rows)


def _ends(a: Pin, b: Pin, common: Pin | None) -> tuple[Pin, Pin]:
    return (b, a) if common is not None and a.pk == common.pk else (a, b)


def _column(ends: tuple[Pin, Pin], common: Pin | None) -> str:
    if common is not None and ends[1].pk == common.pk:
        return _("Pin {pin}").format(pin=ends[0].label)
    return f"{ends[0].label}–{ends[1].label}"


def _notes(sweep: int, between: bool) -> list[str]:
    notes = [_("sweep {n}").format(n=sweep)] if sweep > 1 else []
    return [*notes, _("before the next detent")] if between else notes


def _cell(
    reading: Reading | None,
    position: str,
    between: bool,
    ends: tuple[Pin, Pin],
    marked: set[Any],
    beyond: dict[Any, str],
) -> SheetCell | None:
    if reading is None:
        return None
    state = None if reading.kind == Reading.Kind.NOT_TAKEN else state_of(reading)
    place = (position, between, frozenset(pin.label for pin in ends))
    return SheetCell(reading.as_typed, state, reading.first_pass, place in marked, beyond.get(place, ""))
