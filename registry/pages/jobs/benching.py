"""The sheets of check and bench when they are opened for a job: what the job knows is filled in."""

from __future__ import annotations

import uuid as ids
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect

from registry.errors import RegistryErrors
from registry.models import Job, User
from registry.models.jobs import JobUnit
from registry.pages.jobs.begin import began, guest_counted
from registry.pages.jobs.forms import KeepForm
from registry.pages.sheet_grid import SheetGrid
from registry.permissions import Actor
from registry.selectors.jobs import loose_readings, sheets_of_job
from registry.services.jobs.benching import unit_bench
from registry.services.jobs.keeping import job_from_check

Plain = dict[str, Any]
METER = ("apart_shows", "lead_ohm", "limit_ohm", "buzzer_limit_ohm")
KEEP_FIELDS = {
    "/symptom": "symptom",
    "/vehicle": "vehicle",
    "/distance_km": "vehicle_distance",
    "/measured_it_myself": "measured_it_myself",
}


def meter_of_job(job: Job) -> Plain:
    """The meter as it was typed at the job's other unit, for the fields of the form."""
    for kept in sheets_of_job(job).values():
        meter = kept.body.get("meter") or {}
        if meter:
            return {"meter_name": meter.get("name", ""), **{n: meter[n] for n in METER if n in meter}}
    return {}


def values_of_job(job: Job, grid: SheetGrid) -> dict[str, str]:
    """Field of the grid → reading: the old unit's as last entered, else those that found its design."""
    old = sheets_of_job(job).get(JobUnit.OLD)
    rows = old.body.get("readings", []) if old is not None else loose_readings(job.events.all())
    typed = {_place(row): str(row.get("reading") or "") for row in rows}
    found = {place.name: typed.get(_place(place.row("")), "") for place in grid.places}
    return {name: reading for name, reading in found.items() if reading}


def _place(row: Mapping[str, Any]) -> tuple[Any, ...]:
    ends = frozenset((str(row["pin"]), str(row["against"])))
    return str(row["position"]), ends, int(row.get("sweep") or 1), bool(row.get("between"))


def keep_form(request: HttpRequest, unit: str, *, bound: bool) -> KeepForm:
    """Beside a verdict.  bound: the person asked to keep it."""
    if bound:
        return KeepForm(request.POST)
    return KeepForm(initial={"keep_id": str(ids.uuid4()), "vehicle_distance_unit": unit})


def check_kept(
    request: HttpRequest, found: tuple[Actor, Job] | None, design: str, body: Plain, form: KeepForm
) -> HttpResponseBase | None:
    """Keep a check, in its job or as a new one; None where something is to be put right on the form."""
    sheet = {
        **body,
        "client_id": form.data.get("keep_id") or None,
        "measured_it_myself": bool(form.data.get("measured_it_myself")),
    }
    try:
        if found is not None:
            actor, job = found
            unit_bench(by=actor, job=job, of=JobUnit.OLD, body=sheet)
            return redirect("job", uuid=job.uuid)
        guest_counted(request)
        user = request.user if isinstance(request.user, User) else None
        return began(request, job_from_check(by=user, about=form.about(design), sheet=sheet))
    except RegistryErrors as errors:
        form.is_valid()
        for error in errors:
            form.add_error(KEEP_FIELDS.get(error.field), f"{error.message} {error.advice}".strip())
        return None
