"""A unit as its own contributor sees it, and what a workshop says of its reports."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from registry.models import Contributor, FleetReport, SheetVersion, Unit, UnitEvent, User


@dataclass(frozen=True)
class Moment:
    """A sheet or an event of a unit.  kind: of an event, or held_good of a sheet."""

    km: float | None
    on: date | None
    kind: str
    sheet: UUID | None = None
    event: UnitEvent | None = None


def own_unit(user: User, uuid: UUID) -> Unit | None:
    """A unit of this account; another's is not found."""
    return (
        Unit.objects.filter(uuid=uuid, contributor__user=user)
        .select_related("design", "contributor")
        .prefetch_related("events")
        .first()
    )


def unit_history(unit: Unit) -> list[Moment]:
    """Sheets that were not withdrawn and events not taken back, by distance, day and order of storing."""
    versions = (
        SheetVersion.objects.filter(sheet__unit=unit, is_current=True, sheet__withdrawn_at__isnull=True)
        .select_related("sheet")
        .order_by("sheet_id")
    )
    moments = [Moment(v.distance_km, v.read_on, v.held_good, sheet=v.sheet.uuid) for v in versions]
    moments += [
        Moment(e.distance_km, e.happened_on, e.kind, event=e)
        for e in unit.events.all()
        if e.withdrawn_at is None
    ]
    return sorted(moments, key=lambda one: (one.km is None, one.km or 0.0, one.on or date.min))


def reports_of(contributor: Contributor) -> FleetReport | None:
    """What the contributor's workshop says now."""
    if contributor.workshop_id is None:
        return None
    return FleetReport.objects.filter(workshop=contributor.workshop_id, ended_at__isnull=True).first()


def reports_for_care() -> list[FleetReport]:
    """Words in force, the unconfirmed first."""
    reports = FleetReport.objects.filter(ended_at__isnull=True).select_related("workshop")
    return sorted(reports, key=lambda report: (report.confirmed_at is not None, report.pk))
