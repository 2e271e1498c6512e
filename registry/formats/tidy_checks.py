"""What the rows of a file must keep among themselves: a sheet is one unit, a place is read once a sweep."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from registry.errors import RegistryError
from registry.formats.reading import ReadingKind
from registry.formats.tidy_fields import ErrorList, FieldCodes
from registry.formats.tidy_table import FloatArray, IntArray, TidyTable
from registry.translation import gettext as _
from registry.translation import ngettext

ONE_A_SHEET = ("design", "unit", "contributor", "class", "held_good")
LEAD_SLACK_OHM = 0.2  # a reading may fall this far below its leads by rounding and by the meter's last digit


def check_rows(
    table: TidyTable, columns: dict[str, IntArray], codes: dict[str, FieldCodes], errors: ErrorList
) -> None:
    """Adds to `errors` what contradicts itself between the rows of `table`."""
    _check_sheets(table, columns, codes, errors)
    _check_pins(table, errors)
    _check_labels(table, errors)
    _check_places(table, errors)


def _check_sheets(
    table: TidyTable, columns: dict[str, IntArray], codes: dict[str, FieldCodes], errors: ErrorList
) -> None:
    first = np.unique(table.sheet, return_index=True)[1]
    for name in ONE_A_SHEET:
        column = columns[name]
        expected = column[first][table.sheet]
        for row in np.flatnonzero(column != expected):
            sheet = table.sheets[table.sheet[row]]
            values = codes[name].found
            errors.add(
                RegistryError(
                    "submission_contradicts",
                    _(
                        "Submission “{submission}” has {name} “{here}” here and “{there}” on line {line}."
                    ).format(
                        submission=sheet.name,
                        name=name,
                        here=values[column[row]],
                        there=values[expected[row]],
                        line=sheet.first_line,
                    ),
                    _("A submission is one unit of one design, read by one person; name another otherwise."),
                ),
                int(table.line[row]),
                name,
            )


def _check_pins(table: TidyTable, errors: ErrorList) -> None:
    for row in np.flatnonzero(table.pin == table.against):
        errors.add(
            RegistryError(
                "pin_against_itself",
                _("Pin {pin} is read against itself.").format(pin=table.labels[table.pin[row]]),
                _("Write in “against” the pin that the other lead is on."),
            ),
            int(table.line[row]),
            "against",
        )


def _check_labels(table: TidyTable, errors: ErrorList) -> None:
    """Within a sheet a step has one label and a label stands at one step."""
    for here, there, code in (
        (table.step, table.position, "step_two_labels"),
        (table.position, table.step, "label_two_steps"),
    ):
        key = _packed(table.sheet, here)
        _keys, first, inverse = np.unique(key, return_index=True, return_inverse=True)
        origin = first[inverse]
        for row in np.flatnonzero(there != there[origin]):
            errors.add(
                _label_error(table, code, int(row), int(origin[row])), int(table.line[row]), "position"
            )


def _label_error(table: TidyTable, code: str, row: int, origin: int) -> RegistryError:
    if code == "step_two_labels":
        text = _("Step {step} is “{here}” here and “{there}” on line {line}.")
        advice = _("Give each step of a submission one label.")
    else:
        text = _("Position “{here}” is step {step} here and step {other} on line {line}.")
        advice = _("Give each label of a submission one step.")
    message = text.format(
        step=table.step[row],
        other=table.step[origin],
        here=table.labels[table.position[row]],
        there=table.labels[table.position[origin]],
        line=table.line[origin],
    )
    return RegistryError(code, message, advice)


def _check_places(table: TidyTable, errors: ErrorList) -> None:
    low, high = np.minimum(table.pin, table.against), np.maximum(table.pin, table.against)
    key = _packed(table.sheet, table.step, table.between, table.sweep, low, high)
    _keys, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    origin = first[inverse]
    for row in np.flatnonzero(origin != np.arange(len(table))):
        where = _("behind {position}") if table.between[row] else _("in {position}")
        errors.add(
            RegistryError(
                "place_twice",
                _("Pin {pin} against {against} {where} was already read on line {line}.").format(
                    pin=table.labels[table.pin[row]],
                    against=table.labels[table.against[row]],
                    where=where.format(position=table.labels[table.position[row]]),
                    line=table.line[origin[row]],
                ),
                _("Keep one of them, or number the sweeps in the column “sweep”."),
            ),
            int(table.line[row]),
        )


def _packed(*columns: NDArray[np.int32] | NDArray[np.bool_]) -> NDArray[np.int64]:
    """One integer a row that is equal where all columns are; ranks keep it below 2**63 for any file."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        span = int(column.max(initial=0)) + 1
        if int(key.max(initial=0) + 1) * span >= 2**62:
            key = np.unique(key, return_inverse=True)[1].astype(np.int64)
        key = key * span + column
    return key


def lead_warnings(kind: IntArray, low: FloatArray, lead: FloatArray, line: IntArray) -> list[str]:
    """Leads that read higher than the contact: said, never clamped in silence."""
    rows = np.flatnonzero((kind == ReadingKind.VALUE) & (low < lead - LEAD_SLACK_OHM))
    if not len(rows):
        return []
    text = ngettext(
        "{count} reading is below its lead resistance (line {lines}); was the meter zeroed already?",
        "{count} readings are below their lead resistance (lines {lines}); was the meter zeroed already?",
        len(rows),
    )
    return [text.format(count=len(rows), lines=_listed(line[rows].tolist()))]


def _listed(numbers: Sequence[int], most: int = 5) -> str:
    shown = ", ".join(map(str, numbers[:most]))
    return shown + ", …" if len(numbers) > most else shown
