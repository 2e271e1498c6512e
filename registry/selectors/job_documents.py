"""A job as a document, for its own people's programs and for the data that they take away."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from registry.models import Job, JobEvent, JobSheet
from registry.selectors.jobs import StepState, check_of, next_step, step_states

Plain = dict[str, Any]


def job_line(job: Any) -> Plain:
    """Where a job stands.  job: with its events fetched."""
    states = step_states(job.events.all())
    return {
        "job": str(job.uuid),
        "origin": job.origin,
        "begun": job.created_at.isoformat(),
        "vehicle": job.vehicle_label,
        "family": job.family_label,
        "design": None if job.design is None else str(job.design.uuid),
        "design_name": None if job.design is None else job.design.name,
        "symptom": job.symptom,
        "distance_km": job.distance_km,
        "old_unit_km": job.old_unit_km,
        "next_step": None if job.closed_at is not None else next_step(states),
        "stopped": job.stopped,
        "verified": _time(job.verified_at),
        "outcome": job.outcome or None,
        "outcome_given": _time(job.outcome_sent_at),
        "closed": _time(job.closed_at),
    }


def job_full(job: Job) -> Plain:
    """All of a job but the pictures themselves."""
    events = list(job.events.all())
    numbers = {event.pk: event.number for event in events}
    return {
        **job_line(job),
        "steps": [_step(state) for state in step_states(events).values()],
        "units": [_unit(sheet) for sheet in job.job_sheets.all()],
        "events": [_event(event, numbers) for event in events],
        "pictures": [
            {"order": picture.order, "step": picture.step} for picture in job.pictures.order_by("order")
        ],
    }


def _step(state: StepState) -> Plain:
    return {
        "step": state.step,
        "state": state.act or "open",
        "event": None if state.event is None or not state.act else state.event.number,
    }


def _unit(sheet: JobSheet) -> Plain:
    check = check_of(sheet)
    return {
        "unit": sheet.of,
        "submission": None if sheet.sheet is None else str(sheet.sheet.uuid),
        "verdict": None if check is None else check.verdict,
        "p_good": None if check is None else check.p_good,
        "revision": None if check is None else check.revision.number,
        "body": sheet.body,
    }


def _event(event: JobEvent, numbers: dict[int, int]) -> Plain:
    return {
        "number": event.number,
        "at": event.created_at.isoformat(),
        "step": event.step,
        "act": event.act,
        "corrects": None if event.corrects_id is None else numbers.get(event.corrects_id),
        "data": event.data,
        "private": event.private,
    }


def _time(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
