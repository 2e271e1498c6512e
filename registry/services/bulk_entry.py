"""A whole unit in one go: a matrix with positions down and pins across, as CSV or XLSX, previewed, then sent.

A summary sheet ("four units matched") is the same matrix with states only and the number of units claimed.
"""

from __future__ import annotations

import csv
import io
from typing import Any

from registry.errors import RegistryError, RegistryErrors, pointer
from registry.formats.matrix_table import Cells, read_matrix
from registry.formats.safe_cells import label_read, safe_label
from registry.models import Design, Sheet, User
from registry.permissions import require
from registry.selectors.labels import DesignLabels, LabelledPosition
from registry.services.checks import sheet_preview
from registry.services.sheets import sheet_submit
from registry.translation import gettext as _

Plain = dict[str, Any]
STATES = {"closed": "cont", "open": "OL"}  # words for a summary; what else is written stays as typed


def matrix_readings(*, design: Design, data: bytes) -> list[Plain]:
    """Readings of a body (as typed) with "row" and "column" of the file; RegistryErrors with every fault.

    First row: a word, then a pin each (against the common), or a pair as 2/3.  First column: a position, or
    P/R for the gap between two neighbours.
    """
    cells = read_matrix(data)
    errors: list[RegistryError] = []
    labels = DesignLabels(design)
    common = design.connector.common.label if design.connector.common else None
    pairs = [
        _pair(label_read(text), labels, common, n, errors) for n, text in enumerate(cells[0][1:], start=2)
    ]
    places = [
        _place(label_read(row[0]), design, labels, n, errors) for n, row in enumerate(cells[1:], start=2)
    ]
    _once([pair for pair in pairs if pair], _("pin"), errors, lambda pair: frozenset(pair))
    _once([place for place in places if place], _("position"), errors, lambda place: place)
    readings = _readings(cells, pairs, places, errors)
    if not errors and not readings:
        errors.append(_wrong("no_readings", _("There is no reading in the matrix."), _("Take one at least.")))
    if errors:
        raise RegistryErrors(errors[:100], more=max(0, len(errors) - 100))
    return readings


def _wrong(code: str, message: str, advice: str = "", **place: Any) -> RegistryError:
    return RegistryError(code, message, advice, field="/file", **place)


def _pair(
    text: str, labels: DesignLabels, common: str | None, column: int, errors: list[RegistryError]
) -> tuple[str, str] | None:
    """(pin, against)."""
    place: dict[str, Any] = {"line": 1, "column": str(column)}
    pins = [text] if text in labels.pins else [part.strip() for part in text.split("/")]
    if not text:
        errors.append(
            _wrong("pin_missing", _("Column {n} has no pin at its head.").format(n=column), **place)
        )
        return None
    if len(pins) == 1 and common is not None:
        pins.append(common)
    unknown = [pin for pin in pins if pin not in labels.pins]
    if unknown:
        try:
            labels.pin(unknown[0])
        except RegistryError as error:
            errors.append(error.at(field="/file", line=1, column=str(column)))
        return None
    if len(pins) != 2:
        message = _("“{text}” names no pair of pins.").format(text=text)
        errors.append(_wrong("pair_needed", message, _("Write a pair as 2/3."), **place))
        return None
    if pins[0] == pins[1]:
        message = _("Both leads are on pin {pin}.").format(pin=pins[0])
        errors.append(_wrong("same_pin", message, _("Leave out the common's own column."), **place))
        return None
    return pins[0], pins[1]


def _place(
    text: str, design: Design, labels: DesignLabels, line: int, errors: list[RegistryError]
) -> tuple[str, bool] | None:
    """(position, between)."""
    if text in labels.positions:
        return labels.positions[text].label, False
    ends = [part.strip() for part in text.split("/")]
    if len(ends) == 2 and all(end in labels.positions for end in ends):
        first, second = sorted((labels.positions[end] for end in ends), key=_step)
        if second.step == first.step + 1:
            return first.label, True
        message = _("{first} and {second} are no neighbours.").format(first=first.label, second=second.label)
        errors.append(_wrong("gap_unknown", message, line=line))
        return None
    if not text:
        errors.append(_wrong("position_missing", _("Row {n} has no position.").format(n=line), line=line))
        return None
    try:
        labels.position(text)
    except RegistryError as error:
        errors.append(error.at(field="/file", line=line))
    return None


def _step(position: LabelledPosition) -> int:
    return position.step


def _once(found: list[Any], what: str, errors: list[RegistryError], key: Any) -> None:
    seen: set[Any] = set()
    for one in found:
        if key(one) in seen:
            message = _("Twice in the matrix: {what} {name}.").format(what=what, name=one[0])
            errors.append(_wrong("label_twice", message, _("Keep one of them.")))
        seen.add(key(one))


def _readings(
    cells: Cells,
    pairs: list[tuple[str, str] | None],
    places: list[tuple[str, bool] | None],
    errors: list[RegistryError],
) -> list[Plain]:
    found = []
    for n, (row, place) in enumerate(zip(cells[1:], places, strict=True), start=2):
        for column, (text, pair) in enumerate(zip(row[1:], pairs, strict=True), start=2):
            if text and place is not None and pair is not None:
                found.append(
                    {
                        "position": place[0],
                        "between": place[1],
                        "pin": pair[0],
                        "against": pair[1],
                        "reading": STATES.get(text.casefold(), text),
                        "row": n,
                        "column": column,
                    }
                )
    return found


def matrix_preview(*, design: Design, data: bytes, body: Plain) -> Plain:
    """What would be sent and how it compares; nothing is stored.  Faults name row and column of the file."""
    readings = matrix_readings(design=design, data=data)
    full = matrix_body(design, readings, body)
    try:
        preview = sheet_preview(body=full)
    except RegistryErrors as problems:
        raise RegistryErrors([_at_cell(error, readings) for error in problems], more=problems.more) from None
    return {**preview, "body": full}


def matrix_body(design: Design, readings: list[Plain], body: Plain) -> Plain:
    """The body of a sheet with these readings; "row" and "column" stay behind."""
    names = ("position", "between", "pin", "against", "reading")
    plain = [{name: reading[name] for name in names} for reading in readings]
    return {**body, "design": str(design.uuid), "readings": plain}


def _at_cell(error: RegistryError, readings: list[Plain]) -> RegistryError:
    """A fault of readings/7 is one of a row and a column of the file."""
    parts = error.field.split("/")
    if len(parts) > 2 and parts[1] == "readings" and parts[2].isdigit() and int(parts[2]) < len(readings):
        reading = readings[int(parts[2])]
        field = pointer("file", reading["row"], reading["column"])
        return error.at(field=field, line=reading["row"], column=str(reading["column"]))
    return error


def matrix_submit(*, by: User, design: Design, data: bytes, body: Plain) -> Sheet:
    """Send the matrix as a sheet; all of it or, where anything is wrong, nothing."""
    require(by, "submit")
    readings = matrix_readings(design=design, data=data)
    try:
        return sheet_submit(by=by, body=matrix_body(design, readings, body))
    except RegistryErrors as problems:
        raise RegistryErrors([_at_cell(error, readings) for error in problems], more=problems.more) from None


def matrix_blank(design: Design, *, as_xlsx: bool) -> bytes:
    """An empty matrix of the design, to be filled in."""
    common = design.connector.common
    pins = [pin for pin in design.connector.pins.all() if not pin.empty]
    if common is not None:
        heads = [pin.label for pin in pins if pin.pk != common.pk]
    else:
        heads = [f"{a.label}/{b.label}" for n, a in enumerate(pins) for b in pins[n + 1 :]]
    rows = [[_("position"), *heads], *([position.label] for position in design.positions.all())]
    rows = [[safe_label(text) for text in row] for row in rows]
    if as_xlsx:
        return _xlsx(rows)
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def _xlsx(rows: list[list[str]]) -> bytes:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("1")
    for row in rows:
        sheet.append(row)
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()
