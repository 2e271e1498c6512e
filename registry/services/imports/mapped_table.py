"""A person's own table, read by what each column means, into the tidy form; each cell's fate is kept."""

from __future__ import annotations

import csv
import io
from collections.abc import Container, Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from registry.errors import RegistryError, RegistryErrors
from registry.formats.column_roles import IGNORE, PIN, head_row_of, heads_of
from registry.formats.matrix_table import Limits, read_cells
from registry.formats.merged_cells import Spread
from registry.formats.reading import ReadingKind, parse_reading
from registry.formats.safe_cells import label_read, safe_label
from registry.formats.tidy_columns import COLUMNS
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable
from registry.models import Design
from registry.selectors.labels import DesignLabels
from registry.translation import gettext as _

LIMITS = Limits(
    bytes=4_000_000, unpacked=40_000_000, rows=20_001, columns=140, longest=200, days=True, merged=True
)
TAKEN, NOT_TAKEN, LEFT_OUT, WRONG = "taken", "not_taken", "left_out", "wrong"
Place = tuple[int, int]  # row and column of the file, from 1


@dataclass
class MappedTable:
    """cells: below the heads, which stand in row `head_row` of the file; fates: place → what becomes of the
    cell, and a sentence where it is wrong."""

    design: Design
    cells: list[list[str]]
    heads: list[str]
    roles: dict[str, str]
    head_row: int = 1
    fates: dict[Place, tuple[str, str]] = field(default_factory=dict)
    errors: list[RegistryError] = field(default_factory=list)
    tidy: TidyTable | None = None

    def wrong(self, place: Place, error: RegistryError) -> None:
        self.fates[place] = (WRONG, f"{error.message} {error.advice}".strip())
        self.errors.append(error.at(field="/content", line=place[0], column=str(place[1])))


@dataclass(frozen=True)
class TableCells:
    """rows: below the heads; head_row: of the file, from 1."""

    rows: list[list[str]]
    heads: list[str]
    head_row: int


def table_cells(data: bytes, pins: Iterable[str], head_row: int | None = None) -> TableCells:
    """head_row: where the heads stand, None: where they seem to.  RegistryErrors: the file can't be read."""
    cells = read_cells(data, LIMITS)
    at = min(head_row or head_row_of(cells, pins), len(cells))
    return TableCells(cells[at:], heads_of(cells[at - 1]), at)


def table_mapped(design: Design, cells: TableCells, roles: dict[str, str], contributor: str) -> MappedTable:
    """Every cell judged; `tidy` where nothing is wrong.  contributor: a note beside the sheets."""
    heads = cells.heads
    table = MappedTable(
        design, cells.rows, heads, {head: roles.get(head, IGNORE) for head in heads}, cells.head_row
    )
    if not _is_complete(table):
        return table
    lines = _Lines(table, DesignLabels(design), contributor)
    for n, row in enumerate(cells.rows, start=cells.head_row + 1):
        lines.add(n, row)
    if not lines.rows and not table.errors:
        message = _("There is no reading in this file.")
        table.errors.append(RegistryError("no_readings", message, _("Take one at least."), field="/content"))
    if not table.errors:
        _read(table, lines)
    return table


def _is_complete(table: MappedTable) -> bool:
    roles = set(table.roles.values())
    wide = any(role.startswith(PIN) for role in roles)
    needed = {"unit", "position"} if wide else {"unit", "position", "pin", "reading"}
    for role in sorted(needed - roles):
        table.errors.append(
            RegistryError(
                "column_missing",
                _("No column is chosen for “{role}”.").format(role=role),
                _("Say which column holds it."),
                field="/columns",
            )
        )
    return needed <= roles


class _Lines:
    """Tidy lines as they come about, each with the places that its fields came from."""

    def __init__(self, table: MappedTable, labels: DesignLabels, contributor: str) -> None:
        self.table, self.labels, self.contributor = table, labels, contributor
        common = table.design.connector.common
        self.common = common.label if common is not None else ""
        self.column = {role: n for n, head in enumerate(table.heads) if (role := table.roles[head]) != IGNORE}
        self.pins = [(role, n) for role, n in self.column.items() if role.startswith(PIN)]
        self.rows: list[dict[str, str]] = []
        self.origins: list[dict[str, Place]] = []
        self.written: dict[str, str] = {}  # a label as it stands in `rows` → the design's

    def add(self, n: int, row: list[str]) -> None:
        for column, head in enumerate(self.table.heads):
            left_out = self.table.roles[head] == IGNORE
            empty = LEFT_OUT if left_out else NOT_TAKEN
            self.table.fates[n, column + 1] = (LEFT_OUT if left_out else TAKEN if row[column] else empty, "")
        taken = [column for _role, column in self.pins] or [self.column["reading"]]
        if not any(row[column] for column in taken) or _is_title(row):
            self._left_out(n, row)
            return
        base, origin = self._base(n, row)
        if base is None:
            return
        for role, column in self.pins:
            if row[column]:
                pin, _slash, against = role.removeprefix(PIN).partition("/")
                self._reading(n, base, origin, pin, against or self.common, row[column], column)
        if not self.pins and row[self.column["reading"]]:
            pin, against = self._text(row, "pin"), self._text(row, "against") or self.common
            self._reading(n, base, origin, pin, against, self._text(row, "reading"), self.column["reading"])

    def _left_out(self, n: int, row: list[str]) -> None:
        """A blank row, a unit that was not read, a remark or a title between others."""
        for column, text in enumerate(row, start=1):
            if text:
                self.table.fates[n, column] = (LEFT_OUT, "")

    def _text(self, row: list[str], role: str) -> str:
        return row[self.column[role]] if role in self.column else ""

    def _base(self, n: int, row: list[str]) -> tuple[dict[str, str] | None, dict[str, Place]]:
        origin = {role: (n, column + 1) for role, column in self.column.items()}
        unit = self._text(row, "unit")
        if not unit:
            self.table.wrong(origin["unit"], RegistryError("value_missing", _("This names no unit."),
                             _("Write what you call the switch.")))  # fmt: skip
            return None, origin
        try:
            position, between = self._position(self._text(row, "position"))
        except RegistryError as error:
            self.table.wrong(origin["position"], error)
            return None, origin
        base = {
            "design": self.table.design.name,
            "submission": self._text(row, "submission") or unit,
            "unit": unit,
            "contributor": self.contributor,
            "step": str(position.step),
            "position": self._written(position.label),
            "between": "yes" if between else self._text(row, "between"),
        }
        optional = ("sweep", "limit_ohm", "lead_ohm", "class", "held_good")
        return {**base, **{name: self._text(row, name) for name in optional}}, origin

    def _position(self, text: str) -> tuple[Any, bool]:
        """A position, or the gap between two neighbours, written P/R."""
        known = self.labels.positions
        text = _label(text, known)
        ends = [known.get(_label(part.strip(), known)) for part in text.split("/")]
        if text not in known and len(ends) == 2 and ends[0] is not None and ends[1] is not None:
            first, second = sorted((ends[0], ends[1]), key=lambda position: position.step)
            if second.step == first.step + 1:
                return first, True
        return self.labels.position(text), False

    def _reading(
        self,
        n: int,
        base: dict[str, str],
        origin: dict[str, Place],
        pin: str,
        against: str,
        text: str,
        at: int,
    ) -> None:
        place = (n, at + 1)
        if isinstance(text, Spread):
            message = _("This cell is merged with others: nobody can say where it was read.")
            advice = _("Unmerge it, and write each reading into its own cell.")
            self.table.wrong(place, RegistryError("reading_merged", message, advice))
            return
        pin, against = _label(pin, self.labels.pins), _label(against, self.labels.pins)
        for label, role in ((pin, "pin"), (against, "against")):
            try:
                self.labels.pin(label)
            except RegistryError as error:
                self.table.wrong(origin.get(role, place), error)
                return
        try:
            self.table.fates[place] = (TAKEN, _says(text))
        except RegistryError as error:
            self.table.wrong(place, error)
            return
        pins = {"pin": self._written(pin), "against": self._written(against)}
        self.rows.append({**base, **pins, "reading": text})
        self.origins.append({**origin, "reading": place})

    def _written(self, label: str) -> str:
        """Fit for the reader of tidy files, which takes no formula for a label."""
        told = safe_label(label)
        self.written[told] = label
        return told

    def text(self) -> bytes:
        """One line for each of `rows`: a break within a cell, put in to make it fit, is a blank."""
        names = [column.name for column in COLUMNS]
        made = io.StringIO()
        writer = csv.DictWriter(made, names, lineterminator="\n")
        writer.writeheader()
        writer.writerows(
            {name: " ".join(text.splitlines()) for name, text in row.items()} for row in self.rows
        )
        return made.getvalue().encode()


def _label(text: str, known: Container[str]) -> str:
    """As the design has it: a template leads what a spreadsheet would run by an apostrophe."""
    return text if text in known else label_read(text)


def _is_title(row: list[str]) -> bool:
    """One merged cell is all that stands in it."""
    return len({text for text in row if text}) == 1 and all(isinstance(text, Spread) for text in row if text)


def _says(text: str) -> str:
    reading = parse_reading(text)
    words = {
        ReadingKind.OVER_LIMIT: _("over the limit"),
        ReadingKind.CONTINUITY: _("continuity"),
        ReadingKind.NOT_TAKEN: _("not taken"),
    }
    if reading.kind in words:
        return words[reading.kind]
    if reading.low == reading.high:
        return f"{reading.low:g} Ω"
    return f"{reading.low:g} … {reading.high:g} Ω"


def _read(table: MappedTable, lines: _Lines) -> None:
    """By the reader of every tidy file; what it finds goes back to the cell that it came from."""
    try:
        tidy = read_tidy(lines.text())
        table.tidy = replace(tidy, labels=tuple(lines.written.get(label, label) for label in tidy.labels))
    except RegistryErrors as errors:
        for error in errors:
            origin = lines.origins[(error.line or 2) - 2]
            table.wrong(origin.get(error.column or "reading", origin["reading"]), error)
