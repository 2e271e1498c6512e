"""A workshop's vehicles as its members see them.  For everybody else there is nothing here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.utils import timezone

from registry.bridge.fleet import best_age, chances_ahead
from registry.formats.link_tokens import link_digest
from registry.models import DistanceReading, Fitting, LifeLaw, Membership, Organisation, User, Vehicle
from registry.permissions import Actor, account_of, is_active

YEAR = timedelta(days=365)
LEAST_DAYS = 14  # between two readings of which a pace is made
Plain = dict[str, Any]


@dataclass(frozen=True)
class DueLine:
    """One vehicle of the due list.

    vehicle_km, unit_km: on the counter, on the unit; chance: of failing within the organisation's `next_km`;
    waiting: expected cost of waiting that long, in the workshop's currency (the chance itself where no costs
    are entered); due_km: distance left on the unit until its replacement is due, below 0 where it is overdue;
    due_on: the day, at the pace of the last year.  None: not known.
    """

    vehicle: Vehicle
    vehicle_km: float | None
    read_on: date | None
    unit_km: float | None
    chance: float | None = None
    waiting: float | None = None
    due_km: float | None = None
    due_on: date | None = None

    @property
    def order(self) -> tuple[Any, ...]:
        """Costliest to wait for first; then what isn't known, the most overdue first; then by label."""
        known = self.waiting is not None
        left = self.due_km if self.due_km is not None else float("inf")
        return (not known, -(self.waiting or 0.0), left, self.vehicle.label_key)

    @property
    def overdue(self) -> bool:
        return self.due_km is not None and self.due_km <= 0


def organisations_of(user: Actor) -> QuerySet[Membership]:
    account = account_of(user)
    if account is None or not is_active(account):
        return Membership.objects.none()
    return (
        Membership.objects.filter(user=account).select_related("organisation").order_by("organisation__name")
    )


def organisation_for(user: Actor, uuid: UUID) -> Organisation | None:
    """The organisation, for its members; None for everybody else."""
    found = organisations_of(user).filter(organisation__uuid=uuid).first()
    return None if found is None else found.organisation


def vehicle_for(user: Actor, uuid: UUID) -> Vehicle | None:
    """The vehicle, for members of its organisation; None for everybody else."""
    account = account_of(user)
    if account is None or not is_active(account):
        return None
    mine = Vehicle.objects.filter(uuid=uuid, organisation__memberships__user=account)
    return mine.select_related("organisation", "design").first()


def organisation_of_feed(token: str) -> Organisation | None:
    """By the calendar's private link."""
    return Organisation.objects.filter(feed_digest=link_digest(token)).first()


def members_of(organisation: Organisation) -> QuerySet[Membership]:
    return organisation.memberships.select_related("user__contributor").order_by("pk")


def due_list(organisation: Organisation) -> list[DueLine]:
    """Every vehicle in use, in the order in which it is worth looking at; four queries for any number."""
    return _due_lines(organisation, _with_distances(organisation))


def _due_lines(organisation: Organisation, chosen: QuerySet[Vehicle]) -> list[DueLine]:
    vehicles = list(chosen)
    fittings = {
        fitting.vehicle_id: fitting
        for fitting in Fitting.objects.filter(vehicle__in=chosen.values("pk"), removed_km=None)
    }
    lines = [_line(vehicle, fittings.get(vehicle.pk)) for vehicle in vehicles]
    designs = {_design_of(line, fittings) for line in lines} - {None}
    laws = _laws({pk for pk in designs if pk is not None})
    by_design: dict[int | None, list[int]] = {}
    for at, line in enumerate(lines):
        by_design.setdefault(_design_of(line, fittings), []).append(at)
    for design, places in by_design.items():
        law = None if design is None else laws.get(design)
        told = _told([lines[at] for at in places], organisation, law)
        for at, line in zip(places, told, strict=True):
            lines[at] = line
    return sorted(lines, key=lambda line: line.order)


def _laws(designs: set[int]) -> dict[int, Plain]:
    known = LifeLaw.objects.filter(design__in=designs, shape__isnull=False)
    return {law.design_id: {"shape": law.shape, "scale_km": law.scale_km} for law in known}


def _with_distances(organisation: Organisation) -> QuerySet[Vehicle]:
    standing = DistanceReading.objects.filter(vehicle=OuterRef("pk"), is_current=True)
    latest = standing.order_by("-read_on")
    within = standing.filter(read_on__gte=timezone.localdate() - YEAR).order_by("read_on")
    return (
        organisation.vehicles.filter(retired_at=None)
        .select_related("design")
        .annotate(
            now_km=Subquery(latest.values("km")[:1]),
            now_on=Subquery(latest.values("read_on")[:1]),
            then_km=Subquery(within.values("km")[:1]),
            then_on=Subquery(within.values("read_on")[:1]),
        )
        .order_by(F("label_key"))
    )


def _design_of(line: DueLine, fittings: dict[int, Fitting]) -> int | None:
    """Of the unit that is in it, else of the vehicle."""
    fitting = fittings.get(line.vehicle.pk)
    return (fitting.design_id if fitting is not None else None) or line.vehicle.design_id


def _line(vehicle: Vehicle, fitting: Fitting | None) -> DueLine:
    now = getattr(vehicle, "now_km", None)
    unit_km = None
    if fitting is not None:
        unit_km = fitting.unit_km + max(
            0.0, (now if now is not None else fitting.fitted_km) - fitting.fitted_km
        )
    return DueLine(vehicle, now, getattr(vehicle, "now_on", None), unit_km)


def _told(lines: Sequence[DueLine], organisation: Organisation, law: Plain | None) -> list[DueLine]:
    """Chances, costs and the distance left, for vehicles whose units share one law."""
    costs = (organisation.planned_cost, organisation.breakdown_cost)
    age = organisation.policy_km
    if age is None and law is not None and costs[0] is not None and costs[1] is not None:
        age = best_age(law, costs[0], costs[1])
    known = [line.unit_km for line in lines if line.unit_km is not None]
    chances = iter([] if law is None else chances_ahead(law, known, organisation.next_km))
    told = []
    for line in lines:
        if line.unit_km is None:
            told.append(line)
            continue
        chance = next(chances, None)
        extra = 1.0 if costs[0] is None or costs[1] is None else max(0.0, costs[1] - costs[0])
        left = None if age is None else age - line.unit_km
        told.append(
            replace(
                line,
                chance=chance,
                waiting=None if chance is None else chance * extra,
                due_km=left,
                due_on=_day(line, left),
            )
        )
    return told


def _day(line: DueLine, left: float | None) -> date | None:
    """When the distance left is run, at the pace between the readings of the last year."""
    vehicle: Any = line.vehicle
    if left is None or line.read_on is None or vehicle.then_on is None or vehicle.now_km is None:
        return None
    days = (line.read_on - vehicle.then_on).days
    run = vehicle.now_km - vehicle.then_km
    if days < LEAST_DAYS or run <= 0:
        return None
    ahead = left * days / run
    return line.read_on + timedelta(days=min(int(ahead), 36_500)) if ahead > 0 else line.read_on


def vehicle_history(vehicle: Vehicle) -> tuple[list[DistanceReading], list[Fitting]]:
    """Distances that count, the newest first; units that were in it, the newest first."""
    distances = vehicle.distances.filter(is_current=True).order_by("-read_on")
    fittings = vehicle.fittings.select_related("design", "unit").order_by("-fitted_km", "-pk")
    return list(distances), list(fittings)


def due_line(vehicle: Vehicle) -> DueLine | None:
    """The line of one vehicle; None where it is out of use."""
    organisation = vehicle.organisation
    own = _with_distances(organisation).filter(pk=vehicle.pk)
    return next(iter(_due_lines(organisation, own)), None)


def wants_digest(user: User, organisation: Organisation) -> bool:
    return Membership.objects.filter(user=user, organisation=organisation, wants_digest=True).exists()
