"""A job on a fleet's vehicle: nothing is typed twice, and the vehicle knows what is in it afterwards."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from registry.models import Fitting, Job, UnitEvent, User, Vehicle
from registry.selectors.fleet import due_list
from registry.services.fleet.job_fittings import vehicle_job
from registry.services.fleet.organisations import organisation_make, organisation_set
from registry.services.fleet.vehicles import vehicle_add
from registry.services.jobs.steps import job_close, step_do, step_skip
from tests.registry.pages.made import account, made_design

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner() -> User:
    return account("owner")


@pytest.fixture
def vehicle(owner: User) -> Vehicle:
    design = made_design(owner)
    fleet = organisation_make(by=owner, body={"name": "Marsh Quay"})
    organisation_set(by=owner, organisation=fleet, body={"shares_units": True})
    body = {
        "label": "Sweeper 12",
        "design": design.name,
        "km": 90_000,
        "fitted_km": 10_000,
        "family": "Vorrilt",
    }
    return vehicle_add(by=owner, organisation=fleet, body=body)


def fitted(owner: User, job: Job, km: float) -> None:
    step_do(by=owner, job=job, step="fitted", body={"distance_km": km, "on": "2026-11-20"})


def test_a_job_begins_with_what_the_fleet_knows(owner: User, vehicle: Vehicle) -> None:
    job = vehicle_job(by=owner, vehicle=vehicle, symptom="silent")
    assert (job.vehicle_label, job.family_label, job.distance_km) == ("Sweeper 12", "Vorrilt", 90_000)
    assert job.design == vehicle.design and job.vehicle == vehicle


def test_fitting_a_unit_ends_the_old_ones_distance_and_begins_the_new_ones(
    owner: User, vehicle: Vehicle
) -> None:
    job = vehicle_job(by=owner, vehicle=vehicle, symptom="silent")
    fitted(owner, job, 90_400)
    old, new = Fitting.objects.order_by("fitted_km")
    assert (old.removed_km, old.removed_because) == (90_400, "unknown")
    assert (new.fitted_km, new.unit_km, new.job) == (90_400, 0, job)
    fitted(owner, job, 90_500)  # the figure was wrong: put right, not fitted again
    old.refresh_from_db()
    assert Fitting.objects.count() == 2 and old.removed_km == 90_500
    assert due_list(vehicle.organisation)[0].unit_km == 0


def test_the_outcome_tells_whether_the_old_unit_had_failed(owner: User, vehicle: Vehicle) -> None:
    job = vehicle_job(by=owner, vehicle=vehicle, symptom="silent")
    fitted(owner, job, 90_400)
    for step in ("ruled_out", "prepared", "removed", "suspect_benched", "new_benched", "verified"):
        step_skip(by=owner, job=job, step=step, reason="not in this test")
    job_close(by=owner, job=job, body={"outcome": "went"})
    assert Fitting.objects.get(removed_km=90_400).removed_because == "failed"
    assert not UnitEvent.objects.exists(), "the registry hears of it from the job alone, when it is sent"


def test_a_job_of_somebody_elses_fleet_changes_nothing_there(owner: User, vehicle: Vehicle) -> None:
    other = account("other")
    with pytest.raises(PermissionDenied):
        vehicle_job(by=other, vehicle=vehicle, symptom="silent")
    browser = Client()
    browser.force_login(other)
    assert (
        browser.post(reverse("vehicle_begin", args=[vehicle.uuid]), {"symptom": "silent"}).status_code == 404
    )
    browser.force_login(owner)
    begun = browser.post(reverse("vehicle_begin", args=[vehicle.uuid]), {"symptom": "silent"})
    assert begun.status_code == 302 and Job.objects.get().vehicle == vehicle
    assert browser.post(reverse("vehicle_begin", args=[vehicle.uuid]), {}).status_code == 422
