"""A chart's content as the table that a page shows: positions down, pins across in connector order.

Where there is no common pin, pairs run down and positions across: a list of pairs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from registry.models import Design

Place = tuple[str, bool, str, str]  # position, between, the two pins in connector order


@dataclass(frozen=True)
class Heading:
    text: str
    note: str = ""
    spoken: str = ""


@dataclass(frozen=True)
class TableRow:
    heading: Heading
    cells: list[dict[str, Any] | None]
    gap: bool = False


@dataclass(frozen=True)
class PatternTable:
    """cells: as in a chart's content, None where nothing was read."""

    corner: str
    caption: str
    columns: list[Heading]
    rows: list[TableRow] = field(default_factory=list)


@dataclass(frozen=True)
class Shape:
    """Positions, pins and common of a design as its chart knows them, with the words of the catalogue."""

    positions: list[str]
    pins: list[str]
    common: str | None
    names: dict[str, str]
    starts: frozenset[str]
    lines: dict[str, str]

    @classmethod
    def of(cls, design: Design, content: dict[str, Any] | None = None) -> Shape:
        """Labels from the chart where there is one: it may be older than the catalogue."""
        positions, connector = list(design.positions.all()), getattr(design, "connector", None)
        pins = [] if connector is None else [pin for pin in connector.pins.all() if not pin.empty]
        common = connector.common.label if connector is not None and connector.common else None
        shape = content["design"] if content else None
        return cls(
            positions=shape["positions"] if shape else [p.label for p in positions],
            pins=shape["pins"] if shape else [pin.label for pin in pins],
            common=shape["common"] if shape else common,
            names={p.label: p.name for p in positions},
            starts=frozenset(p.label for p in positions if p.releases_starter),
            lines={pin.label: pin.line_name for pin in pins},
        )

    def place(self, cell: dict[str, Any]) -> Place:
        first, second = sorted((cell["pin"], cell["against"]), key=self._order)
        return cell["position"], bool(cell.get("between", False)), first, second

    def _order(self, pin: str) -> int:
        return self.pins.index(pin) if pin in self.pins else len(self.pins)

    def position_heading(self, label: str) -> Heading:
        words = [self.names.get(label, "")]
        if label in self.starts:
            words.append(_("releases the starter"))
        return Heading(label, ", ".join(word for word in words if word))


def pattern_tables(shape: Shape, cells: list[dict[str, Any]]) -> list[PatternTable]:
    """One table of lines against the common; one of the other pairs, where any was read."""
    by_place = {shape.place(cell): cell for cell in cells}
    tables = []
    paired = [place for place in by_place if shape.common is None or shape.common not in place[2:]]
    if (shape.common is not None and len(paired) < len(by_place)) or (not by_place and shape.common):
        tables.append(_lines_table(shape, by_place))
    if paired or (shape.common is None and not by_place):
        tables.append(_pairs_table(shape, by_place, paired))
    return tables


def _lines_table(shape: Shape, by_place: dict[Place, dict[str, Any]]) -> PatternTable:
    common = str(shape.common)
    pins = [pin for pin in shape.pins if pin != common]

    def row(position: str, between: bool) -> list[dict[str, Any] | None]:
        places = [shape.place(_bare(position, between, pin, common)) for pin in pins]
        return [by_place.get(place) for place in places]

    table = PatternTable(
        corner=_("Position"),
        caption=_("Each pin against pin {common}, the common").format(common=common),
        columns=[Heading(_("Pin {pin}").format(pin=pin), shape.lines.get(pin, "")) for pin in pins],
    )
    gaps = {place[0] for place in by_place if place[1] and common in place[2:]}
    for position in shape.positions:
        table.rows.append(TableRow(shape.position_heading(position), row(position, False)))
        if position in gaps:
            heading = Heading(_("behind {position}").format(position=position), _("between detents"))
            table.rows.append(TableRow(heading, row(position, True), gap=True))
    return table


def _pairs_table(shape: Shape, by_place: dict[Place, dict[str, Any]], paired: list[Place]) -> PatternTable:
    pairs = sorted({place[2:] for place in paired}, key=lambda pair: [shape._order(pin) for pin in pair])
    gaps = {place[0] for place in paired if place[1]}
    columns = [(p, between) for p in shape.positions for between in (False, True) if not between or p in gaps]
    table = PatternTable(
        corner=_("Pins"),
        caption=_("Pairs of pins") if shape.common is None else _("Other pairs of pins"),
        columns=[
            Heading(_("behind {position}").format(position=p)) if between else shape.position_heading(p)
            for p, between in columns
        ],
    )
    for a, b in pairs:
        cells = [by_place.get((p, between, a, b)) for p, between in columns]
        table.rows.append(TableRow(Heading(_("{a} and {b}").format(a=a, b=b)), cells))
    return table


def _bare(position: str, between: bool, pin: str, against: str) -> dict[str, Any]:
    return {"position": position, "between": between, "pin": pin, "against": against}
