"""Bench sheets as the API shows them: pseudonymous to all, in full to their contributor."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Count, Prefetch, QuerySet

from registry.models import Reading, Sheet, SheetFinding, SheetVersion, User


def sheets_for_api() -> QuerySet[Any]:
    """Each with its current version (`current`, a list of one) and its finding; three queries a page."""
    versions = SheetVersion.objects.filter(is_current=True).annotate(reading_count=Count("readings"))
    return (
        Sheet.objects.select_related("design", "unit__part_number", "contributor", "rereads", "finding")
        .prefetch_related(Prefetch("versions", queryset=versions.select_related("meter"), to_attr="current"))
        .order_by("-pk")
    )


def sheets_of_account(user: User) -> QuerySet[Any]:
    """All of one's own, withdrawn ones too."""
    return sheets_for_api().filter(contributor__user=user)


def sheet_for_api(sheet: UUID) -> Sheet | None:
    return sheets_for_api().filter(uuid=sheet).first()


def readings_as_typed(version: SheetVersion) -> QuerySet[Any]:
    """In the order in which they were typed."""
    return (
        Reading.objects.filter(version=version)
        .select_related("place__position", "place__pin_a", "place__pin_b")
        .order_by("pk")
    )


def reading_plain(reading: Reading) -> dict[str, Any]:
    """As typed and as read; pin and against in the order in which they were typed."""
    place = reading.place
    pins = (place.pin_a.label, place.pin_b.label)
    pin, against = reversed(pins) if reading.turned else pins
    return {
        "position": place.position.label,
        "pin": pin,
        "against": against,
        "reading": reading.as_typed,
        "sweep": reading.sweep,
        "between": place.between,
        "first_pass": reading.first_pass,
        "kind": reading.kind,
        "low_ohm": reading.low_ohm,
        "high_ohm": reading.high_ohm,
        "limit_ohm": reading.limit_ohm,
        "lead_ohm": reading.lead_ohm,
    }


TYPED = ("position", "pin", "against", "reading", "sweep", "between")


def body_of(sheet: Any, readings: list[dict[str, Any]]) -> dict[str, Any]:
    """The body by which the sheet's current version could be sent again: what an amendment starts from.

    sheet: from `sheets_for_api`; readings: from `reading_plain`.
    """
    version: SheetVersion = sheet.current[0]
    first = readings[0] if readings else {"limit_ohm": 2e7, "lead_ohm": 0.0}
    meter = version.meter
    passes: dict[bool, list[dict[str, Any]]] = {True: [], False: []}
    for reading in readings:
        passes[reading["first_pass"]].append({name: reading[name] for name in TYPED})
    return {
        "client_id": str(sheet.client_id),
        "design": str(sheet.design.uuid),
        "name": sheet.name,
        "unit": {
            "key": sheet.unit.key,
            "tag_code": sheet.unit.tag_code,
            "date_code": sheet.unit.date_code,
            "part_number": sheet.unit.part_number.number if sheet.unit.part_number else "",
        },
        "purpose": version.purpose,
        "held_good": version.held_good,
        "source_class": version.source_class,
        "read_at": version.read_at,
        "read_on": None if version.read_on is None else version.read_on.isoformat(),
        "distance_km": version.distance_km,
        "meter": {
            "name": "" if meter is None else meter.name,
            "limit_ohm": first["limit_ohm"],
            "lead_ohm": first["lead_ohm"],
            "apart_shows": "OL" if meter is None else meter.apart_shows,
            "buzzer_limit_ohm": None if meter is None else meter.buzzer_limit_ohm,
        },
        "measured_it_myself": sheet.measured_it_myself,
        "units_claimed": version.units_claimed,
        "note": version.note,
        "rereads": None if sheet.rereads is None else str(sheet.rereads.uuid),
        "readings": passes[True],
        "second_pass": passes[False],
    }


def findings_for_api() -> QuerySet[Any]:
    """What the newest computation of each design says of each sheet that is still there.

    In the order of the sheets, which stays: findings are written anew at each computation.
    """
    return (
        SheetFinding.objects.filter(sheet__withdrawn_at__isnull=True)
        .select_related("sheet__design__connector__common", "sheet__contributor", "revision")
        .defer("revision__content", "revision__inputs", "revision__held_because")
        .order_by("sheet_id")
    )
