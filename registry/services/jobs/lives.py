"""What a job tells of its units: one begins its life, another ends it or comes out good."""

from __future__ import annotations

from datetime import date
from typing import Any

from registry.models import Job, UnitEvent
from registry.models.jobs import JobAct, JobStep, UnitEventKind
from registry.selectors.jobs import step_states
from registry.services.changes import change_of_deed

Plain = dict[str, Any]


def life_begin(job: Job) -> UnitEvent | None:
    """The new unit at a distance of 0 on it: once it is both known to the registry and fitted."""
    said = _done(job, JobStep.FITTED)
    if said is None or job.new_unit is None or job.contributor is None:
        return None
    event, made = UnitEvent.objects.get_or_create(
        job=job,
        unit=job.new_unit,
        kind=UnitEventKind.FITTED,
        withdrawn_at=None,
        defaults={
            "contributor": job.contributor,
            "distance_km": 0.0,
            "happened_on": _day(said),
        },
    )
    if made:
        change_of_deed("unit_event", job.new_unit.uuid, {})
    return event


def life_told(job: Job, kind: str, sheet: Any) -> UnitEvent:
    """The old unit, at the distance on it where the job says one."""
    assert job.old_unit is not None and job.contributor is not None
    event, _made = UnitEvent.objects.get_or_create(
        job=job,
        unit=job.old_unit,
        kind=kind,
        withdrawn_at=None,
        defaults={
            "contributor": job.contributor,
            "distance_km": job.old_unit_km,
            "happened_on": _day(_done(job, JobStep.REMOVED) or {}),
            "sheet": sheet,
        },
    )
    return event


def _done(job: Job, step: str) -> Plain | None:
    """What was said at a step that was done."""
    state = step_states(job.events.filter(step=step))[step]
    return state.event.data if state.act == JobAct.DONE and state.event is not None else None


def _day(said: Plain) -> date | None:
    return date.fromisoformat(said["on"]) if said.get("on") else None
