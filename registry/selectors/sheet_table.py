"""A sheet beside the agreed pattern: for each place what was typed, what it means, what good units show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry.models import Reading, Sheet, SheetVersion
from registry.selectors.tolerance import cells_by_place

CLOSED_BELOW, OPEN_ABOVE = 20.0, 100e3  # model.md; the engine's own settings when a chart is given


@dataclass(frozen=True)
class Beside:
    """One place: readings as typed (each sweep), the state of the last one, the pattern's cell."""

    typed: tuple[str, ...]
    state: str | None
    cell: Mapping[str, Any] | None
    late: bool = False

    @property
    def unlike(self) -> bool:
        return self.state is not None and self.expected is not None and self.state != self.expected

    @property
    def expected(self) -> str | None:
        return None if self.cell is None else self.cell["state"]


@dataclass(frozen=True)
class BesideRow:
    label: str
    between: bool
    cells: tuple[Beside | None, ...]


@dataclass(frozen=True)
class BesideTable:
    """Positions down, pairs of pins across; a pair is named by one pin where the other is the common."""

    columns: tuple[str, ...]
    rows: tuple[BesideRow, ...]
    unlike: int
    compared: int


def reading_state(reading: Reading) -> str | None:
    """open, closed or resistive by the true contact, leads subtracted; None where the meter can't tell."""
    if reading.kind == Reading.Kind.CONTINUITY:
        return "closed"
    if reading.kind == Reading.Kind.OVER_LIMIT:
        return "open" if reading.limit_ohm >= OPEN_ABOVE else None
    if reading.kind == Reading.Kind.NOT_TAKEN or reading.low_ohm is None or reading.high_ohm is None:
        return None
    states = {_state(max(0.0, ohm - reading.lead_ohm)) for ohm in (reading.low_ohm, reading.high_ohm)}
    return states.pop() if len(states) == 1 else None


def _state(ohm: float) -> str:
    return "closed" if ohm < CLOSED_BELOW else "open" if ohm > OPEN_ABOVE else "resistive"


def current_version(sheet: Sheet) -> SheetVersion:
    return sheet.versions.get(is_current=True)


def beside_pattern(sheet: Sheet, shape: Mapping[str, Any], variant: Mapping[str, Any] | None) -> BesideTable:
    """shape: positions, pins, common of the chart; variant: its table that the sheet is compared with."""
    pattern = {} if variant is None else cells_by_place(dict(variant))
    common = shape["common"]
    typed: dict[tuple[Any, ...], list[Reading]] = {}
    readings = Reading.objects.filter(version=current_version(sheet)).select_related(
        "place__position", "place__pin_a", "place__pin_b"
    )
    for reading in readings.order_by("sweep", "pk"):
        place = reading.place
        pins = sorted((place.pin_a.label, place.pin_b.label))
        typed.setdefault((place.position.label, place.between, *pins), []).append(reading)
    order = {pin: n for n, pin in enumerate(shape["pins"])}
    pairs = sorted(
        {key[2:] for key in [*typed, *pattern]},
        key=lambda pair: (common not in pair, sorted(order.get(pin, 99) for pin in pair)),
    )
    gaps = {key[0] for key in [*typed, *pattern] if key[1]}
    rows, unlike, compared = [], 0, 0
    for position in shape["positions"]:
        for between in (False, True) if position in gaps else (False,):
            cells = []
            for pair in pairs:
                key = (position, between, *pair)
                cell = _beside(typed.get(key, []), pattern.get(key))
                compared += cell is not None and None not in (cell.state, cell.expected)
                unlike += cell is not None and cell.unlike
                cells.append(cell)
            rows.append(BesideRow(position, between, tuple(cells)))
    names = tuple(_pair_name(pair, common, order) for pair in pairs)
    return BesideTable(names, tuple(rows), unlike, compared)


def _beside(readings: list[Reading], cell: Mapping[str, Any] | None) -> Beside | None:
    if not readings and cell is None:
        return None
    states = [reading_state(reading) for reading in readings]
    return Beside(
        typed=tuple(reading.as_typed for reading in readings),
        state=states[-1] if states else None,
        cell=cell,
        late=any(not reading.first_pass for reading in readings),
    )


def _pair_name(pair: tuple[str, ...], common: str | None, order: Mapping[str, int]) -> str:
    if common in pair and len(pair) == 2:
        return pair[0] if pair[1] == common else pair[1]
    return " – ".join(sorted(pair, key=lambda pin: order.get(pin, 99)))
