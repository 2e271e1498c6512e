"""A step is done, or skipped with its reason; a job is closed once none is left open."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryError, refusal
from registry.models import Job, JobEvent
from registry.models.jobs import JobAct, JobOutcome, JobStep
from registry.permissions import Actor
from registry.selectors.jobs import step_states
from registry.services.fields import Fields
from registry.services.fleet.job_fittings import vehicle_fitted, vehicle_told
from registry.services.jobs.benching import STEP_OF, unit_bench
from registry.services.jobs.events import event_add, job_locked, step_named
from registry.services.jobs.lives import life_begin
from registry.services.jobs.starting import job_about
from registry.services.jobs.step_body import LONGEST_NOTE, old_unit_km, read_step
from registry.services.jobs.verifying import job_verify
from registry.translation import gettext as _

NOT_SKIPPED = (JobStep.SYMPTOM, JobStep.CLOSED)
UNIT_OF = {step: unit for unit, step in STEP_OF.items()}


def step_do(*, by: Actor, job: Job, step: str, body: Any) -> JobEvent:
    """Do a step, whichever it is, or put it right; body: what the step asks for (api/README.md, § Jobs)."""
    step = step_named(step)
    if step == JobStep.SYMPTOM:
        return job_about(by=by, job=job, body=body)
    if step in UNIT_OF:
        sheet = body.get("sheet") if isinstance(body, dict) else None
        return unit_bench(by=by, job=job, of=UNIT_OF[JobStep(step)], body={} if sheet is None else sheet)
    if step == JobStep.VERIFIED:
        return job_verify(by=by, job=job, body=body)
    if step == JobStep.CLOSED:
        return job_close(by=by, job=job, body=body)
    return _plain_step(by=by, job=job, step=step, body=body)


@transaction.atomic
def _plain_step(*, by: Actor, job: Job, step: str, body: Any) -> JobEvent:
    job = job_locked(by, job)
    said = read_step(step, body)
    if step == JobStep.REMOVED:
        job.old_unit_km = old_unit_km(said.data)
        job.save(update_fields=["old_unit_km"])
    event = event_add(job, by=by, step=step, act=JobAct.DONE, data=said.data, private=said.private)
    if step == JobStep.FITTED:
        life_begin(job)
        vehicle_fitted(by=by, job=job, said=said.data)
    return event


@transaction.atomic
def step_skip(*, by: Actor, job: Job, step: str, reason: str) -> JobEvent:
    """Leave a step out, for a reason that stays with the job."""
    job, step = job_locked(by, job), step_named(step)
    if step in NOT_SKIPPED:
        raise refusal("step_needed", _("This step can't be left out."), field="/step")
    if step == JobStep.VERIFIED and job.stopped:
        raise refusal(
            "start_elsewhere",
            _("The starter answered where it may not. This step can't be left out until that is put right."),
            _("Don't drive. Find out why, put it right, then try every position again."),
            field="/step",
        )
    fields = Fields({"reason": reason})
    reason = fields.text("reason", longest=300, needed=True)
    fields.raise_all()
    if step == JobStep.VERIFIED:
        job.verified_at = None
        job.save(update_fields=["verified_at"])
    if step == JobStep.REMOVED:
        job.old_unit_km = None
        job.save(update_fields=["old_unit_km"])
    return event_add(job, by=by, step=step, act=JobAct.SKIPPED, private={"reason": reason})


@transaction.atomic
def job_close(*, by: Actor, job: Job, body: Any) -> JobEvent:
    """Close a job with its outcome; RegistryErrors names every step that is still open."""
    job = job_locked(by, job)
    fields = Fields({} if body is None else body)
    outcome = fields.one_of("outcome", JobOutcome.values, "")
    note = fields.text("note", longest=LONGEST_NOTE, lines=True)
    if not outcome and not fields.errors:
        fields.wrong("outcome", "value_missing", _("This is empty."), _("Say how it came out."))
    states = step_states(job.events.all())
    fields.errors += [
        RegistryError(
            "step_open",
            _("Step “{step}” is open.").format(step=step),
            _("Do it, or skip it with a reason."),
            field="/steps",
        )
        for step, state in states.items()
        if step != JobStep.CLOSED and not state.settled
    ]
    if outcome in (JobOutcome.WENT, JobOutcome.STAYED) and states[JobStep.FITTED].act == JobAct.SKIPPED:
        fields.wrong(
            "outcome",
            "nothing_fitted",
            _("No new unit was fitted in this job."),
            _("Say that it was something else, or enter the fitting."),
        )
    fields.raise_all()
    job.outcome, job.closed_at = outcome, timezone.now()
    job.save(update_fields=["outcome", "closed_at"])
    vehicle_told(job)
    return event_add(
        job, by=by, step=JobStep.CLOSED, act=JobAct.DONE, data={"outcome": outcome}, private={"note": note}
    )


@transaction.atomic
def job_reopen(*, by: Actor, job: Job) -> JobEvent:
    """Open a closed job again; what was sent of its outcome is taken back first."""
    job = job_locked(by, job, closed=True)
    if job.closed_at is None:
        raise refusal("job_open", _("This job is open."))
    told = job.unit_events.filter(withdrawn_at=None, unit=job.old_unit)
    if job.outcome_sent_at is not None or told.exists():
        raise refusal(
            "job_sent",
            _("The outcome of this job was given to the registry."),
            _("Take it back there first; then the job can be opened again."),
        )
    job.outcome, job.closed_at = "", None
    job.save(update_fields=["outcome", "closed_at"])
    return event_add(job, by=by, step=JobStep.CLOSED, act=JobAct.REOPENED)
