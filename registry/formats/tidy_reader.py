"""Reads the tidy form (contracts.md): one meter reading a row; all errors of a file in one go."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.errors import refusal
from registry.formats.reading import Reading, parse_reading
from registry.formats.tidy_checks import check_rows, lead_warnings
from registry.formats.tidy_columns import COLUMNS
from registry.formats.tidy_fields import BAD, ErrorList, FieldCodes
from registry.formats.tidy_rows import RowReader
from registry.formats.tidy_steps import step_labels
from registry.formats.tidy_table import IntArray, TidySheet, TidyTable
from registry.formats.tidy_text import Progress, TidyText, read_bytes
from registry.translation import gettext as _
from registry.translation import ngettext

_DEFAULT_TEXT = ""  # a column that the file doesn't have reads as if each field were empty


def read_tidy(source: Path | bytes, progress: Progress | None = None) -> TidyTable:
    """The file's readings in columns, or `RegistryErrors` with every line and column that can't be read.

    source: a path, or the file's bytes; progress: is told the share read so far (0 to 1).
    """
    text = TidyText(source if isinstance(source, bytes) else read_bytes(source), progress)
    errors = ErrorList()
    rows = RowReader(text, errors)
    codes = _field_codes()
    chunks = [_code_chunk(rows, codes, errors, *chunk) for chunk in rows.chunks()]
    for number, error in text.bad.items():
        errors.add(error, number)
    columns = (
        {name: np.concatenate([chunk[name] for chunk in chunks]) for name in chunks[0]} if chunks else {}
    )
    table = _table(columns, codes, rows.header.unknown) if columns else None
    if table is not None:
        check_rows(table, columns, codes, errors)
    errors.raise_any()
    if table is None or not len(table):
        raise refusal(
            "file_empty",
            _("The file has no readings."),
            _("Write one reading a line under the header."),
        )
    return replace(table, warnings=(*table.warnings, *step_labels(table)[1]))


def _field_codes() -> dict[str, FieldCodes]:
    """One cache of read fields a column; pins, their partners and positions share their labels."""
    codes = {column.name: FieldCodes(column.parse) for column in COLUMNS}
    codes["reading"] = FieldCodes(_typed_reading)
    codes["against"] = codes["position"] = codes["pin"]
    return codes


def _typed_reading(text: str) -> tuple[str, Reading]:
    """As typed beside what it means; the meter's limit is put in later, by row."""
    return text.strip(), parse_reading(text, limit_ohm=float("inf"))


def _code_chunk(
    rows: RowReader,
    codes: dict[str, FieldCodes],
    errors: ErrorList,
    numbers: IntArray,
    fields: Sequence[Sequence[str]],
) -> dict[str, IntArray]:
    """The chunk's columns as codes; rows that can't be read go to `errors` and are left out."""
    coded: dict[str, IntArray] = {}
    for column in COLUMNS:
        look_up = codes[column.name].__getitem__
        place = rows.header.places.get(column.name)
        if place is None:
            coded[column.name] = np.full(len(numbers), look_up(_DEFAULT_TEXT), dtype=np.int32)
        else:
            coded[column.name] = np.fromiter(map(look_up, fields[place]), dtype=np.int32, count=len(numbers))
    coded["line"] = numbers
    bad = np.zeros(len(numbers), dtype=bool)
    for column in COLUMNS:
        bad |= coded[column.name] == BAD
    for row in np.flatnonzero(bad):
        texts = [field[int(row)] for field in fields]
        if any(field.strip() for field in texts):
            _add_row_errors(texts, rows.header.places, codes, errors, int(numbers[row]))
    return {name: values[~bad] for name, values in coded.items()} if bad.any() else coded


def _add_row_errors(
    row: list[str], places: dict[str, int], codes: dict[str, FieldCodes], errors: ErrorList, line: int
) -> None:
    for name, place in places.items():
        error = codes[name].errors.get(row[place])
        if error is not None:
            errors.add(error, line, name)


def _values(codes: FieldCodes, column: IntArray, dtype: Any) -> NDArray[Any]:
    return np.array(codes.found, dtype=dtype)[column]


def _table(columns: dict[str, IntArray], codes: dict[str, FieldCodes], unknown: Iterable[str]) -> TidyTable:
    readings = codes["reading"].found
    nan = float("nan")
    limit = _values(codes["limit_ohm"], columns["limit_ohm"], np.float64)
    lead = _values(codes["lead_ohm"], columns["lead_ohm"], np.float64)
    reading = columns["reading"]
    kinds = np.array([what.kind for _text, what in readings], dtype=np.int32)
    lows = np.array([nan if what.low is None else what.low for _text, what in readings], dtype=np.float64)
    highs = np.array([nan if what.high is None else what.high for _text, what in readings], dtype=np.float64)
    kind, low, high = kinds[reading], lows[reading], highs[reading]
    high = np.where(np.isposinf(high), np.maximum(limit, low), high)
    sheets, sheet = _sheets(columns, codes)
    return TidyTable(
        designs=tuple(codes["design"].found),
        sheets=sheets,
        labels=tuple(codes["pin"].found),
        typed=tuple(text for text, _what in readings),
        sheet=sheet,
        step=_values(codes["step"], columns["step"], np.int32),
        position=columns["position"],
        between=_values(codes["between"], columns["between"], np.bool_),
        sweep=_values(codes["sweep"], columns["sweep"], np.int32),
        pin=columns["pin"],
        against=columns["against"],
        reading=reading,
        kind=kind,
        low=low,
        high=high,
        limit=limit,
        lead=lead,
        line=columns["line"],
        warnings=(*unknown_warnings(list(unknown)), *lead_warnings(kind, low, lead, columns["line"])),
    )


def _sheets(
    columns: dict[str, IntArray], codes: dict[str, FieldCodes]
) -> tuple[tuple[TidySheet, ...], IntArray]:
    """The submissions in the order of their first lines, each as its first line says."""
    _names, first, inverse = np.unique(columns["submission"], return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    sheets = tuple(
        TidySheet(
            name=codes["submission"].found[columns["submission"][row]],
            design=int(columns["design"][row]),
            unit=codes["unit"].found[columns["unit"][row]],
            contributor=codes["contributor"].found[columns["contributor"][row]],
            source_class=codes["class"].found[columns["class"][row]],
            held_good=codes["held_good"].found[columns["held_good"][row]],
            first_line=int(columns["line"][row]),
        )
        for row in first[order]
    )
    return sheets, rank[inverse].astype(np.int32)


def unknown_warnings(unknown: list[str]) -> list[str]:
    if not unknown:
        return []
    text = ngettext(
        "The column {names} is not known and kept out.",
        "The columns {names} are not known and kept out.",
        len(unknown),
    )
    return [text.format(names=", ".join(unknown))]
