"""The job card: where the job stands, what comes next, and everything that was done in it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from registry.formats.causes import verdict_message
from registry.formats.job_words import act_text, outcome_text, step_text, symptom_text
from registry.models import ChartRevision, Job, JobCheck, JobEvent
from registry.models.jobs import JobStep, JobUnit
from registry.pages.cautions import cautions_for
from registry.pages.jobs.access import job_page
from registry.permissions import Actor, may
from registry.selectors.jobs import (
    StepState,
    check_of,
    current_revision,
    next_step,
    sheets_of_job,
    step_states,
)
from registry.services.jobs.reporting import says_of
from registry.services.jobs.sending import old_unit_kind, sent_of

Plain = dict[str, Any]


@job_page
def card(request: HttpRequest, actor: Actor, job: Job) -> HttpResponse:
    return render(request, "technician/job.html", card_context(actor, job))


def card_context(actor: Actor, job: Job) -> Plain:
    events = list(job.events.all())
    numbers = {event.pk: event.number for event in events}
    states = step_states(events)
    sheets = sheets_of_job(job)
    revision = current_revision(job)
    checks = {of: check_of(sheet) for of, sheet in sheets.items()}
    pictures = list(job.pictures.all())
    due = None if job.closed_at is not None else next_step(states)
    return {
        "page": "jobs",
        "job": job,
        "name": job_name(job),
        "symptom": symptom_text(job.symptom),
        "outcome": outcome_text(job.outcome),
        "due": due,
        "due_words": "" if due is None else step_text(due),
        "steps": [_line(state, pictures, due) for state in states.values()],
        "units": [
            (_("Old unit."), checked_words(checks.get(JobUnit.OLD))),
            (_("New unit."), checked_words(checks.get(JobUnit.NEW))),
        ],
        "any_check": any(check is not None for check in checks.values()),
        "revision": revision,
        "revised": [] if job.closed_at is not None else _revised(checks, revision),
        "history": [_history(event, numbers) for event in reversed(events)],
        "back": _back(job, sheets, states),
        "owner": may(actor, "own_job", job),
        "may_take_over": may(actor, "take_over_job", job),
        "cautions": cautions_for("after" if due in (JobStep.FITTED, JobStep.VERIFIED) else "before"),
    }


def job_name(job: Job) -> str:
    """As its people know it."""
    return job.vehicle_label or _("Job of {day}").format(day=job.created_at.date().isoformat())


def _revised(checks: dict[str, JobCheck | None], revision: Any) -> list[str]:
    """Whose readings the pattern as it is now has not been asked about."""
    if revision is None:
        return []
    return [of for of, check in checks.items() if check is None or check.revision_id != revision.pk]


def _line(state: StepState, pictures: list[Any], due: str | None) -> Plain:
    return {
        "step": state.step,
        "name": step_text(state.step),
        "act": state.act,
        "state": act_text(state.act),
        "is_due": state.step == due,
        "when": None if state.event is None or not state.act else state.event.created_at,
        "says": says_of(state),
        "pictures": sum(picture.step == state.step for picture in pictures),
    }


def checked_words(check: JobCheck | None) -> Plain | None:
    if check is None:
        return None
    return {
        "sentence": verdict_message(check.result),
        "verdict": check.verdict,
        "causes": [cause["message"] for cause in check.result["causes"][:2]]
        if check.verdict != "good"
        else [],
        "revision": check.revision.number,
        "withdrawn": check.revision.state == ChartRevision.State.WITHDRAWN,
        "when": check.created_at,
    }


def _history(event: JobEvent, numbers: dict[int, int]) -> Plain:
    return {
        "number": event.number,
        "when": event.created_at,
        "step": step_text(event.step),
        "act": act_text(event.act),
        "corrects": None if event.corrects_id is None else numbers[event.corrects_id],
        "reason": event.private.get("reason", ""),
    }


def _back(job: Job, sheets: dict[str, Any], states: dict[str, StepState]) -> list[Plain]:
    """What can go back to the registry, what has, and what it takes for the rest."""
    sent, kind = sent_of(job, sheets), old_unit_kind(job, sheets)
    new_ready = JobUnit.NEW in sheets
    return [
        {
            "what": "new_unit",
            "name": _("The new unit's sheet, as one of a known-good unit"),
            "sent": "new_unit" in sent,
            "ready": new_ready,
            "needs": "" if new_ready else _("Read the new unit before it is fitted."),
        },
        {
            "what": "old_unit",
            "name": _("The old unit: good at its distance")
            if kind == "good"
            else _("The old unit: failed, at its distance")
            if kind == "failed"
            else _("What became of the old unit"),
            "sent": "old_unit" in sent,
            "ready": kind is not None and JobUnit.OLD in sheets,
            "needs": _("Read it, and close the job with its outcome."),
        },
        {
            "what": "outcome",
            "name": _("How it came out, for the counts of this symptom"),
            "sent": "outcome" in sent,
            "ready": bool(job.outcome),
            "needs": _("Close the job with its outcome."),
        },
    ]
