"""Vehicles and their distances; whoever is no member of the workshop finds nothing here."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from registry.errors import RegistryError
from registry.formats.labels import loose_key
from registry.models import Design, DistanceReading, Organisation, User, Vehicle, part_key
from registry.permissions import require
from registry.selectors.designs import design_named
from registry.services.audit import record
from registry.services.fields import Fields
from registry.translation import gettext as _

MOST_KM = 5e6


@transaction.atomic
def vehicle_add(*, by: User, organisation: Organisation, body: Any) -> Vehicle:
    """body: {"label", "family", "design", "km", "read_on", "fitted_km", "fitted_on", "unit_km"}; label is
    needed.  The same label again changes that vehicle: a file sent twice makes no second one.

    RegistryErrors with every fault of the body.
    """
    require(by, "work_fleet", organisation)
    fields = Fields(body)
    label = fields.text("label", longest=120, needed=True)
    family = fields.text("family", longest=120)
    design = design_field(fields)
    km, read_on = distance_fields(fields, needed=False)
    fitting = _fitting_fields(fields, km)
    fields.raise_all()
    vehicle, made = Vehicle.objects.select_for_update(no_key=True).get_or_create(
        organisation=organisation,
        label_key=loose_key(label),
        defaults={"label": label, "family_label": family, "design": design},
    )
    if not made:
        vehicle.label = label
        vehicle.family_label = family or vehicle.family_label
        vehicle.design = design or vehicle.design
        vehicle.retired_at = None
        vehicle.save()
    if km is not None:
        distance_keep(vehicle, km, read_on, by, fields)
    if fitting is not None and not vehicle.fittings.filter(removed_km=None).exists():
        vehicle.fittings.create(design=vehicle.design, **fitting)
    fields.raise_all()
    record(by=by, action="vehicle_add", target_kind="vehicle", target_uuid=vehicle.uuid)
    return vehicle


def design_field(fields: Fields) -> Design | None:
    """The design named in a body, by name, part number or id; None where none is named."""
    text = fields.text("design", longest=200)
    if not text:
        return None
    of_part = Design.objects.filter(part_numbers__key=part_key(text), merged_into=None).distinct()[:2]
    if len(of_part) == 1:
        return of_part[0]
    try:
        return design_named(text)
    except RegistryError as error:
        fields.wrong("design", error.code, error.message, error.advice)
        return None


def distance_fields(fields: Fields, *, needed: bool) -> tuple[float | None, date]:
    km = fields.number("km", None, low=0.0, high=MOST_KM)
    if km is None and needed and not any(error.field.endswith("/km") for error in fields.errors):
        fields.wrong("km", "value_missing", _("This is empty."), _("Give what the counter shows."))
    return km, fields.day("read_on") or timezone.localdate()


def _fitting_fields(fields: Fields, km: float | None) -> dict[str, Any] | None:
    """What is said of the unit that is in the vehicle now; None where nothing is."""
    fitted = fields.number("fitted_km", None, low=0.0, high=MOST_KM)
    unit_km = fields.number("unit_km", None, low=0.0, high=MOST_KM)
    fitted_on = fields.day("fitted_on")
    if fitted is None:
        if unit_km is not None:
            fields.wrong(
                "fitted_km", "value_missing", _("This is empty."), _("Say at which distance it was fitted.")
            )
        return None
    if km is not None and fitted > km:
        fields.wrong(
            "fitted_km",
            "distance_order",
            _("The unit can't be fitted at a distance that the vehicle has not reached."),
            _("Give the counter's figure of that day."),
        )
    return {"fitted_km": fitted, "fitted_on": fitted_on, "unit_km": unit_km or 0.0}


@transaction.atomic
def distance_add(*, by: User, vehicle: Vehicle, body: Any) -> DistanceReading:
    """What the counter shows.  body: {"km", "read_on"}; a second figure of a day replaces the first."""
    require(by, "work_fleet", vehicle.organisation)
    fields = Fields(body)
    km, read_on = distance_fields(fields, needed=True)
    fields.raise_all()
    assert km is not None
    vehicle = Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    reading = distance_keep(vehicle, km, read_on, by, fields)
    fields.raise_all()
    assert reading is not None
    return reading


def distance_keep(
    vehicle: Vehicle, km: float, read_on: date, by: User, fields: Fields
) -> DistanceReading | None:
    """The reading, or None with the error at its field: a counter runs one way."""
    standing = DistanceReading.objects.filter(vehicle=vehicle, is_current=True)
    same_day = standing.filter(read_on=read_on).first()
    if same_day is not None and same_day.km == km:
        return same_day
    before = standing.filter(read_on__lt=read_on).order_by("-read_on").first()
    after = standing.filter(read_on__gt=read_on).order_by("read_on").first()
    wrong = before if before is not None and before.km > km else None
    wrong = after if wrong is None and after is not None and after.km < km else wrong
    if wrong is not None:
        fields.wrong(
            "km",
            "distance_order",
            _("The counter showed {km:.0f} km on {day}.").format(km=wrong.km, day=wrong.read_on.isoformat()),
            _("Check the figure and the day; correct the earlier entry if that one was wrong."),
        )
        return None
    standing.filter(read_on=read_on).update(is_current=False)
    try:
        with transaction.atomic():
            return DistanceReading.objects.create(vehicle=vehicle, km=km, read_on=read_on, entered_by=by)
    except IntegrityError:  # the same day arrived twice at once: the other one stands
        return DistanceReading.objects.get(vehicle=vehicle, read_on=read_on, is_current=True)


@transaction.atomic
def distance_remove(*, by: User, vehicle: Vehicle, reading: int) -> None:
    """A figure that was wrong counts no more; it stays to be seen."""
    require(by, "work_fleet", vehicle.organisation)
    DistanceReading.objects.filter(vehicle=vehicle, pk=reading).update(is_current=False)


@transaction.atomic
def vehicle_retire(*, by: User, vehicle: Vehicle, back: bool = False) -> None:
    """Out of the due list, or back into it; nothing of it is deleted."""
    require(by, "work_fleet", vehicle.organisation)
    Vehicle.objects.filter(pk=vehicle.pk).update(retired_at=None if back else timezone.now())
    record(by=by, action="vehicle_retire", target_kind="vehicle", target_uuid=vehicle.uuid, back=back)
