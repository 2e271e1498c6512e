"""Writes the tidy form: sorted, as typed, the same bytes for the same rows.

Nothing written here runs in a spreadsheet, and no name stops the file.  Readings begin with a figure, a mark
or a word; a name that should never have come in is written so that it can be read (`safe_cells.fit_name`).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from registry.errors import RegistryError
from registry.formats.labels import LONGEST_LABEL, natural_key
from registry.formats.reading import DEFAULT_LIMIT_OHM, Reading, ReadingKind, parse_reading
from registry.formats.safe_cells import fit_name
from registry.formats.tidy_columns import COLUMNS
from registry.formats.tidy_table import TidyTable


class TidyRow(NamedTuple):
    """One reading with all that the file says of it; low, high: Ω as shown, None where there is no figure."""

    design: str
    submission: str
    unit: str
    contributor: str
    step: int
    position: str
    pin: str
    against: str
    typed: str
    kind: int
    low: float | None
    high: float | None
    sweep: int = 1
    between: bool = False
    limit_ohm: float = DEFAULT_LIMIT_OHM
    lead_ohm: float = 0.0
    source_class: str = "unknown"
    held_good: str = "worked"


def write_tidy(rows: Iterable[TidyRow]) -> Iterator[str]:
    """The file in pieces of text: header, then a line a row, sorted by design, submission and place."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([column.name for column in COLUMNS])
    for row in sorted(rows, key=_order):
        writer.writerow(_fields(row))
        if buffer.tell() > 1 << 16:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()


def _order(row: TidyRow) -> tuple[Any, ...]:
    place = (row.step, row.between, row.sweep, natural_key(row.pin), natural_key(row.against))
    return row.design, row.submission, *place, row.pin, row.against


def _fields(row: TidyRow) -> tuple[str, ...]:
    return (
        fit_name(row.design),
        fit_name(row.submission),
        fit_name(row.unit),
        fit_name(row.contributor),
        str(row.step),
        fit_name(row.position, LONGEST_LABEL),
        fit_name(row.pin, LONGEST_LABEL),
        fit_name(row.against, LONGEST_LABEL),
        written_reading(row.typed, Reading(ReadingKind(row.kind), row.low, row.high), row.limit_ohm),
        str(row.sweep),
        "yes" if row.between else "no",
        format_ohm(row.limit_ohm),
        format_ohm(row.lead_ohm),
        row.source_class,
        row.held_good,
    )


def written_reading(typed: str, reading: Reading, limit_ohm: float = DEFAULT_LIMIT_OHM) -> str:
    """As typed, where the file form reads it alike; otherwise the plain form of the same reading.

    What a meter's own sign means (a lone `1` for over-limit) is known beside the sheet, not in the file.

    >>> written_reading("1", Reading(ReadingKind.OVER_LIMIT, None, None))
    'OL'
    """
    try:
        if parse_reading(typed, limit_ohm=limit_ohm) == reading:
            return typed
    except RegistryError:
        pass
    return format_reading(reading)


def format_reading(reading: Reading) -> str:
    """The plain form of a reading, which `parse_reading` reads back to the same figures."""
    if reading.kind == ReadingKind.NOT_TAKEN:
        return ""
    if reading.kind == ReadingKind.OVER_LIMIT:
        return "OL"
    if reading.low is None or reading.high is None:
        return "cont"
    if reading.kind == ReadingKind.VALUE:
        return format_ohm(reading.low)
    return f"{format_ohm(reading.low)}…{format_ohm(reading.high)}"


def format_ohm(value: float) -> str:
    """A figure in Ω, exact, without a needless `.0`.

    >>> format_ohm(2e7), format_ohm(0.25)
    ('20000000', '0.25')
    """
    return str(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value))


def table_rows(table: TidyTable) -> Iterator[TidyRow]:
    """The rows of a table that was read, so that they can be written again."""
    for row in range(len(table)):
        sheet = table.sheets[table.sheet[row]]
        low, high = float(table.low[row]), float(table.high[row])
        yield TidyRow(
            design=table.designs[sheet.design],
            submission=sheet.name,
            unit=sheet.unit,
            contributor=sheet.contributor,
            step=int(table.step[row]),
            position=table.labels[table.position[row]],
            pin=table.labels[table.pin[row]],
            against=table.labels[table.against[row]],
            typed=table.typed[table.reading[row]],
            kind=int(table.kind[row]),
            low=None if low != low else low,
            high=None if high != high else high,
            sweep=int(table.sweep[row]),
            between=bool(table.between[row]),
            limit_ohm=float(table.limit[row]),
            lead_ohm=float(table.lead[row]),
            source_class=sheet.source_class,
            held_good=sheet.held_good,
        )
