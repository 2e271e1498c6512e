"""Which unit is in which vehicle, from where to where, and what of it the registry hears."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction

from registry.errors import refuse
from registry.models import Design, Fitting, Unit, UnitEvent, User, Vehicle
from registry.models.jobs import UnitEventKind
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.audit import record
from registry.services.fields import Fields
from registry.services.fleet.vehicles import MOST_KM, design_field
from registry.services.lives.laws import law_refresh
from registry.translation import gettext as _

EVENT_OF = {Fitting.Removal.FAILED: UnitEventKind.FAILED, Fitting.Removal.GOOD: UnitEventKind.OUT_GOOD}


@transaction.atomic
def unit_fit(*, by: User, vehicle: Vehicle, body: Any) -> Fitting:
    """A unit goes in; the one before it must be out.

    body: {"fitted_km", "fitted_on", "unit_km", "design"}.
    """
    require(by, "work_fleet", vehicle.organisation)
    fields = Fields(body)
    km = fields.number("fitted_km", None, low=0.0, high=MOST_KM)
    if km is None and not fields.errors:
        fields.wrong("fitted_km", "value_missing", _("This is empty."), _("Give what the counter shows."))
    on, unit_km = fields.day("fitted_on"), fields.number("unit_km", 0.0, low=0.0, high=MOST_KM)
    design = design_field(fields)
    fields.raise_all()
    assert km is not None
    return fitting_begin(
        by=by, vehicle=vehicle, km=km, on=on, unit_km=unit_km or 0.0, design=design, unit=None
    )


@transaction.atomic
def unit_remove(*, by: User, vehicle: Vehicle, body: Any) -> Fitting:
    """The unit comes out.  body: {"removed_km", "removed_on", "because": failed, good or unknown}."""
    require(by, "work_fleet", vehicle.organisation)
    fields = Fields(body)
    km = fields.number("removed_km", None, low=0.0, high=MOST_KM)
    if km is None and not fields.errors:
        fields.wrong("removed_km", "value_missing", _("This is empty."), _("Give what the counter shows."))
    on = fields.day("removed_on")
    because = fields.one_of("because", Fitting.Removal.values, Fitting.Removal.UNKNOWN)
    fields.raise_all()
    assert km is not None
    return fitting_end(by=by, vehicle=vehicle, km=km, on=on, because=because)


def fitting_begin(
    *,
    by: User,
    vehicle: Vehicle,
    km: float,
    on: date | None,
    unit_km: float,
    design: Design | None,
    unit: Unit | None,
) -> Fitting:
    vehicle = Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if vehicle.fittings.filter(removed_km=None).exists():
        refuse(
            "/fitted_km",
            "unit_in_place",
            _("A unit is in this vehicle already."),
            _("Enter first at which distance that one came out."),
        )
    ended = vehicle.fittings.order_by("-removed_km").values_list("removed_km", flat=True).first()
    if ended is not None and km < ended:
        refuse(
            "/fitted_km",
            "distance_order",
            _("The unit before it came out at {km:.0f} km.").format(km=ended),
            _("Give the counter's figure of that day."),
        )
    fitting = Fitting.objects.create(
        vehicle=vehicle,
        design=design or vehicle.design,
        unit=unit,
        fitted_km=km,
        fitted_on=on,
        unit_km=unit_km,
    )
    if vehicle.design is None and design is not None:
        vehicle.design = design
        vehicle.save(update_fields=["design"])
    record(by=by, action="unit_fit", target_kind="vehicle", target_uuid=vehicle.uuid)
    return fitting


def fitting_end(*, by: User, vehicle: Vehicle, km: float, on: date | None, because: str) -> Fitting:
    rows = Fitting.objects.select_for_update(of=("self",), no_key=True)
    fitting = rows.filter(vehicle=vehicle, removed_km=None).first()
    if fitting is None:
        refuse("/removed_km", "no_unit", _("No unit is known to be in this vehicle."))
    if km < fitting.fitted_km:
        refuse(
            "/removed_km",
            "distance_order",
            _("It was fitted at {km:.0f} km.").format(km=fitting.fitted_km),
            _("Give the counter's figure of the day on which it came out."),
        )
    fitting.removed_km, fitting.removed_on, fitting.removed_because = km, on, because
    fitting.save()
    record(by=by, action="unit_remove", target_kind="vehicle", target_uuid=vehicle.uuid, because=because)
    _tell_registry(by, fitting)
    return fitting


def distance_on_unit(fitting: Fitting, vehicle_km: float) -> float:
    """km on the unit when the vehicle's counter shows `vehicle_km`; never below what it came with."""
    return fitting.unit_km + max(0.0, vehicle_km - fitting.fitted_km)


def _tell_registry(by: User, fitting: Fitting) -> None:
    """The unit's history, under a pseudonym and without the vehicle; only where the workshop shares."""
    kind = EVENT_OF.get(Fitting.Removal(fitting.removed_because))
    vehicle = fitting.vehicle
    if kind is None or fitting.design is None or not vehicle.organisation.shares_units:
        return
    assert fitting.removed_km is not None
    contributor = contributor_of(by)
    if fitting.unit is None:
        fitting.unit, _made = Unit.objects.get_or_create(
            contributor=contributor, design=fitting.design, key=f"fitting {fitting.pk}"
        )
        fitting.save(update_fields=["unit"])
    UnitEvent.objects.create(
        unit=fitting.unit,
        contributor=contributor,
        kind=kind,
        distance_km=distance_on_unit(fitting, fitting.removed_km),
        entered_km=fitting.unit_km,
        happened_on=fitting.removed_on,
    )
    record(by=by, action="unit_event", target_kind="unit", target_uuid=fitting.unit.uuid, kind=kind)
    law_refresh(fitting.design)
