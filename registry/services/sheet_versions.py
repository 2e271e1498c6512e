"""A sheet's versions: appended with their readings, never changed afterwards."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from registry.models import Meter, Sheet, SheetVersion, User
from registry.services.places import PlaceKey, places_for
from registry.services.reading_rows import ReadingRow, readings_write
from registry.services.sheet_body import MeterUsed, ReadingTyped, SheetBody
from registry.translation import gettext as _


def versions_first(
    *, sheet: Sheet, body: SheetBody, made_by: User | None, meter: Meter | None
) -> SheetVersion:
    """A new sheet's version; a second one over it where readings were changed once the pattern was shown."""
    first = version_add(sheet=sheet, body=body.as_first_read(), made_by=made_by, meter=meter)
    return second_pass_add(first, body, made_by) if body.has_second_pass else first


def second_pass_add(first: SheetVersion, body: SheetBody, made_by: User | None) -> SheetVersion:
    return version_add(
        sheet=first.sheet,
        body=body,
        made_by=made_by,
        meter=first.meter,
        reason=_("second pass, the pattern in sight"),
        earlier=first,
        pattern_shown=True,
    )


def version_add(
    *,
    sheet: Sheet,
    body: SheetBody,
    made_by: User | None,
    meter: Meter | None,
    reason: str = "",
    earlier: SheetVersion | None = None,
    pattern_shown: bool = False,
) -> SheetVersion:
    """Append a version with its readings; what changed after the pattern was seen is no first pass."""
    readings = _as_passes(body.readings, earlier, pattern_shown)
    if earlier is not None:
        SheetVersion.objects.filter(pk=earlier.pk).update(is_current=False)
    version = version_made(
        sheet=sheet,
        body=body,
        readings=readings,
        made_by=made_by,
        meter=meter,
        reason=reason,
        number=1 if earlier is None else earlier.number + 1,
        pattern_shown=pattern_shown,
    )
    version.save()
    places = places_for([typed.place for typed in readings])
    readings_write(rows_made(version, body.meter, readings, places))
    return version


def version_made(
    *,
    sheet: Sheet,
    body: SheetBody,
    readings: Sequence[ReadingTyped],
    made_by: User | None,
    meter: Meter | None,
    reason: str = "",
    number: int = 1,
    pattern_shown: bool = False,
) -> SheetVersion:
    """A version of the sheet, not stored yet."""
    return SheetVersion(
        sheet=sheet,
        number=number,
        made_by=made_by,
        reason=reason,
        pattern_shown=pattern_shown,
        purpose=body.purpose,
        held_good=body.held_good,
        source_class=body.source_class,
        read_at=body.read_at,
        read_on=body.read_on,
        distance_km=body.distance_km,
        meter=meter,
        units_claimed=body.units_claimed,
        note=body.note,
        digest=version_digest(sheet, body, readings),
    )


def rows_made(
    version: SheetVersion, meter: MeterUsed, readings: Iterable[ReadingTyped], places: dict[PlaceKey, int]
) -> Iterator[ReadingRow]:
    """The readings of a stored version as rows of their table."""
    for typed in readings:
        yield (
            version.pk,
            places[typed.place],
            typed.sweep,
            typed.turned,
            typed.as_typed,
            typed.reading.kind.name.lower(),
            typed.reading.low,
            typed.reading.high,
            meter.limit_ohm,
            meter.lead_ohm,
            typed.first_pass,
        )


def _as_passes(
    readings: tuple[ReadingTyped, ...], earlier: SheetVersion | None, pattern_shown: bool
) -> list[ReadingTyped]:
    if earlier is None:
        return list(readings)
    before = {
        (r.place.position_id, r.place.between, r.place.pin_a_id, r.place.pin_b_id, r.sweep): r
        for r in earlier.readings.select_related("place")
    }
    result = []
    for typed in readings:
        old = before.get((*typed.place, typed.sweep))
        unchanged = old is not None and old.as_typed == typed.as_typed and old.turned == typed.turned
        first = old.first_pass if old is not None and unchanged else not pattern_shown
        result.append(replace(typed, first_pass=first and typed.first_pass))
    return result


def version_digest(sheet: Sheet, body: SheetBody, readings: Iterable[ReadingTyped]) -> str:
    head = (
        str(sheet.uuid),
        body.purpose,
        body.held_good,
        body.source_class,
        body.read_at,
        body.units_claimed,
    )
    rows = [
        (
            typed.position.label,
            typed.between,
            typed.pin.label,
            typed.against.label,
            typed.sweep,
            typed.as_typed,
            int(typed.reading.kind),
            typed.reading.low,
            typed.reading.high,
            body.meter.limit_ohm,
            body.meter.lead_ohm,
            typed.first_pass,
        )
        for typed in readings
    ]
    return evidence_digest(head, rows)


def evidence_digest(head: tuple[Any, ...], rows: list[tuple[Any, ...]]) -> str:
    """SHA-256 of all that may shape a chart, in ids and labels that mean the same in every registry."""
    rows = sorted(rows, key=lambda row: (row[:5], row[5]))
    return hashlib.sha256(json.dumps([head, rows]).encode()).hexdigest()
