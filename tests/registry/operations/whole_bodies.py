"""A whole body for each service that reads one, to be spoilt."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from registry.models import Design, User
from registry.services.catalogue import design_propose
from registry.services.checks import check_suspect, identify_switch, sheet_preview
from registry.services.facts import fact_answer
from registry.services.fleet.fittings import unit_fit
from registry.services.fleet.organisations import organisation_make, organisation_set
from registry.services.fleet.vehicles import distance_add, vehicle_add
from registry.services.imports.files import file_import, file_preview
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import job_close, step_do
from registry.services.meters import meter_keep
from registry.services.sheet_bulk import sheets_submit
from registry.services.sheets import sheet_submit
from registry.services.webhooks.keeping import webhook_make
from tests.api.made import design_body, sheet_body
from tests.registry.services.jobs.made import checked


def bodies(reader: User, design: Design) -> dict[str, tuple[Callable[[Any], Any], Any]]:
    """A whole body for each service that reads one."""
    fleet = organisation_make(by=reader, body={"name": "Marsh Quay"})
    vehicle = vehicle_add(by=reader, organisation=fleet, body={"label": "7", "design": design.name, "km": 9})
    job = job_start(by=reader, body={"symptom": "silent", "design": str(design.uuid)}).job
    suspect = {**sheet_body(design), "held_good": "no"}
    fitted = {"design": design.name, "fitted_km": 12, "fitted_on": "2026-11-01", "unit_km": 0}
    costs = {"name": "Quay", "policy_km": 9e4, "next_km": 500, "shares_units": True}
    steps = {
        "ruled_out": {"checks": {"battery": 1}, "note": "was fine"},
        "prepared": {"ready": ["part", "tools"]},
        "removed": {"distance_km": 120000, "old_unit_since": "fitted_at", "fitted_at_km": 40000},
        "fitted": {"distance_km": 120010, "on": "2026-11-20"},
        "suspect_benched": {"sheet": suspect},
        "verified": checked(),
    }
    found: dict[str, tuple[Callable[[Any], Any], Any]] = {
        "sheet": (lambda body: sheet_submit(by=reader, body=body), sheet_body(design)),
        "bulk": (
            lambda body: sheets_submit(by=reader, bodies=body),
            [sheet_body(design), sheet_body(design)],
        ),
        "preview": (lambda body: sheet_preview(body=body), sheet_body(design)),
        "check": (lambda body: check_suspect(body=body), suspect),
        "identify": (lambda body: identify_switch(body=body), {"readings": sheet_body(design)["readings"]}),
        "design": (lambda body: design_propose(by=reader, body=body), design_body("another")),
        "job": (
            lambda body: job_start(by=None, body=body),
            {"symptom": "silent", "vehicle": "7", "distance_km": 4, "design": design.name, "note": "x"},
        ),
        "fleet": (lambda body: organisation_set(by=reader, organisation=fleet, body=body), costs),
        "vehicle": (
            lambda body: vehicle_add(by=reader, organisation=fleet, body=body),
            {"label": "8", "km": 10, "read_on": "2026-11-02", **fitted},
        ),
        "distance": (
            lambda body: distance_add(by=reader, vehicle=vehicle, body=body),
            {"km": 20, "read_on": "2026-11-02"},
        ),
        "unit": (lambda body: unit_fit(by=reader, vehicle=vehicle, body=body), fitted),
        "fact": (
            lambda body: fact_answer(by=reader, design=design, body=body),
            {"question": "minutes", "quantity": 40, "source": "did_it", "note": "x"},
        ),
        "webhook": (
            lambda body: webhook_make(by=reader, body=body),
            {"url": "https://example.org/hook", "kinds": ["chart_published"], "design": str(design.uuid)},
        ),
        "meter": (
            lambda body: meter_keep(by=reader, body=body),
            {"name": "mine", "limit_ohm": "20M", "apart_shows": "OL", "lead_ohm": "0.2"},
        ),
        "job_end": (
            lambda body: job_close(by=reader, job=job, body=body),
            {"outcome": "given_up", "note": ""},
        ),
        "import": (
            lambda body: (file_preview(by=reader, asked=body), file_import(by=reader, asked=body)),
            {
                "design": str(design.uuid),
                "measured_it_myself": True,
                "content": "unit,position,pin,reading\n7,P,2,0.4\n7,R,3,OL\n",
                "columns": {"unit": "unit", "position": "position", "pin": "pin", "reading": "reading"},
            },
        ),
    }
    for step, body in steps.items():
        found[step] = (lambda said, step=step: step_do(by=reader, job=job, step=step, body=said), body)
    return found
