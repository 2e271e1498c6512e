"""A job on a vehicle of a fleet: begun with what is known of it, and told back to it when a unit went in.

What the registry hears of the units goes with the job (services/jobs), never from here: told once only.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction

from registry.models import Fitting, Job, User, Vehicle
from registry.models.jobs import JobOutcome
from registry.permissions import Actor, account_of, may, require
from registry.services.fleet.fittings import fitting_begin

Plain = dict[str, Any]


@transaction.atomic
def vehicle_job(*, by: User, vehicle: Vehicle, symptom: str) -> Job:
    """Begin a job with what the fleet knows of the vehicle, so that nobody types it again."""
    from registry.services.jobs.starting import job_start  # the steps of a job call this module

    require(by, "work_fleet", vehicle.organisation)
    latest = vehicle.distances.filter(is_current=True).order_by("-read_on").first()
    body = {
        "symptom": symptom,
        "vehicle": vehicle.label,
        "family": vehicle.family_label,
        "design": "" if vehicle.design is None else str(vehicle.design.uuid),
        "distance_km": None if latest is None else latest.km,
    }
    job = job_start(by=by, body=body).job
    job.vehicle = vehicle
    job.save(update_fields=["vehicle"])
    return job


def vehicle_fitted(*, by: Actor, job: Job, said: Plain) -> Fitting | None:
    """A new unit went in: the old one came out and the new one begins at 0 km, both at this distance.

    Nothing for a job without a vehicle or without a distance, or where who works on it may not change the
    fleet.  Said again, with another distance: put right.
    """
    km, account = said.get("distance_km") or job.distance_km, account_of(by)
    if job.vehicle is None or km is None or account is None:
        return None
    if not may(account, "work_fleet", job.vehicle.organisation):
        return None
    on = date.fromisoformat(said["on"]) if said.get("on") else None
    rows = Fitting.objects.select_for_update(of=("self",), no_key=True)
    old = rows.filter(vehicle=job.vehicle, removed_km=None).first()
    if old is not None and old.job_id == job.pk:
        _put_right(old, km, on)
        return old
    if old is not None:
        old.removed_km, old.removed_on = max(km, old.fitted_km), on
        old.removed_because = Fitting.Removal.UNKNOWN
        old.save()
    new = fitting_begin(
        by=account, vehicle=job.vehicle, km=km, on=on, unit_km=0.0, design=job.design, unit=job.new_unit
    )
    new.job = job
    new.save(update_fields=["job"])
    return new


def _put_right(fitting: Fitting, km: float, on: date | None) -> None:
    before = fitting.vehicle.fittings.filter(removed_km=fitting.fitted_km).exclude(pk=fitting.pk).first()
    if before is not None:
        km = max(km, before.fitted_km)
        before.removed_km, before.removed_on = km, on
        before.save()
    fitting.fitted_km, fitting.fitted_on = km, on
    fitting.save()


def vehicle_told(job: Job) -> None:
    """The job is closed: where the symptom went with the old unit, that unit had failed."""
    new = Fitting.objects.filter(job=job).first()
    if new is None:
        return
    if job.new_unit_id is not None and new.unit_id is None:
        new.unit = job.new_unit
        new.save(update_fields=["unit"])
    if job.outcome == JobOutcome.WENT:
        Fitting.objects.filter(
            vehicle=new.vehicle, removed_km=new.fitted_km, removed_because=Fitting.Removal.UNKNOWN
        ).update(removed_because=Fitting.Removal.FAILED)
