"""The receipt of a sheet just stored, from what is at hand: it says what reading it back would say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings

from registry.models import Sheet, SheetVersion
from registry.services.sheet_body import SheetBody


@dataclass(frozen=True)
class Receipt:
    """new: whether this very call stored the sheet: of several at once, one did.

    readings: as `reading_plain` gives them, with a sheet as from `sheet_for_api`; None: to be read back.
    """

    sheet: Sheet
    new: bool
    readings: list[dict[str, Any]] | None = None


def receipt_of(version: SheetVersion, body: SheetBody) -> Receipt:
    """For a sheet without a second pass, whose one version has the body's readings as they are."""
    sheet: Any = version.sheet
    if body.has_second_pass:
        return Receipt(sheet, True)
    readings = _readings(body)
    version.reading_count = len(readings)  # type: ignore[attr-defined]
    sheet.current = [version]
    if settings.TASKS_QUEUE != "immediate":  # the chart is made after the answer: there is no finding yet
        Sheet.finding.related.set_cached_value(sheet, None)
    return Receipt(sheet, True, readings)


def _readings(body: SheetBody) -> list[dict[str, Any]]:
    return [
        {
            "position": typed.position.label,
            "pin": typed.pin.label,
            "against": typed.against.label,
            "reading": typed.as_typed,
            "sweep": typed.sweep,
            "between": typed.between,
            "first_pass": typed.first_pass,
            "kind": typed.reading.kind.name.lower(),
            "low_ohm": typed.reading.low,
            "high_ohm": typed.reading.high,
            "limit_ohm": body.meter.limit_ohm,
            "lead_ohm": body.meter.lead_ohm,
        }
        for typed in body.readings
    ]
