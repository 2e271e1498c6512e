"""A job brought as far as a test needs it."""

from __future__ import annotations

import uuid
from typing import Any

from registry.models import Design, Job, User
from registry.permissions import Actor
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import step_do
from tests.registry.pages.made import POSITIONS, readings

STARTS = "PN"


def started(by: User | None, design: Design | None, **more: Any) -> Job:
    body = {
        "symptom": "silent",
        "vehicle": "Sweeper 7",
        "distance_km": 120000,
        "design": None if design is None else str(design.uuid),
        **more,
    }
    return job_start(by=by, body=body).job


def bench_body(**changed: str) -> dict[str, Any]:
    """A whole sheet; the job knows the rest."""
    return {
        "client_id": str(uuid.uuid4()),
        "measured_it_myself": True,
        "readings": readings(**changed),
    }


def tries(starter: dict[str, str] | None = None, **shown: str) -> list[dict[str, str]]:
    """Every position tried: the starter where it may, the display agreeing; changed as given."""
    return [
        {
            "position": label,
            "starter": (starter or {}).get(label, "turned" if label in STARTS else "silent"),
            "shown_out": shown.get(label, "yes"),
            "shown_back": "yes",
        }
        for label, _spoken in POSITIONS
    ]


READY = ["stationary", "chocked", "clear", "seat"]
FAULT = {"N5": "OL", "D5": "OL", "L5": "OL"}


def checked(**starter: str) -> dict[str, Any]:
    return {"ready": READY, "positions": tries(starter), "codes": "none"}


def walked(job: Job, by: Actor, *, until: str = "verified", old: dict[str, str] | None = None) -> Job:
    """Every step up to and with this one, the line on pin 5 of the old unit open unless told otherwise."""
    bodies: dict[str, Any] = {
        "ruled_out": {"checks": {"battery": 1, "neutral": 1}},
        "prepared": {"ready": ["part", "tools"]},
        "removed": {"distance_km": 120000, "old_unit_since": "fitted_at", "fitted_at_km": 40000},
        "suspect_benched": {"sheet": bench_body(**(old if old is not None else FAULT))},
        "new_benched": {"sheet": bench_body()},
        "fitted": {"distance_km": 120010, "on": "2026-11-20"},
        "verified": checked(),
    }
    for step, body in bodies.items():
        step_do(by=by, job=job, step=step, body=body)
        if step == until:
            break
    job.refresh_from_db()
    return job
