"""One page a step: what is asked there, filled with what the job knows; or why it is left out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from registry.errors import RegistryErrors
from registry.formats.job_words import act_text, ready_text, step_text
from registry.models import Job, JobEvent
from registry.models.jobs import JobAct, JobStep, JobUnit
from registry.pages.before_pulling import ORDER, STEPS
from registry.pages.cautions import cautions_for
from registry.pages.form_errors import lay_errors
from registry.pages.jobs.access import job_page
from registry.pages.jobs.card import checked_words, job_name
from registry.pages.jobs.forms import (
    AboutForm,
    CloseForm,
    FittedForm,
    NoteForm,
    PreparedForm,
    RemovedForm,
    SkipForm,
    about_values,
    distance_shown,
    said,
)
from registry.pages.jobs.trying import tries_body, tries_shown
from registry.pages.preferences import distance_unit
from registry.permissions import Actor
from registry.selectors.jobs import StepState, check_of, sheets_of_job, step_states
from registry.services.jobs.benching import job_recheck
from registry.services.jobs.pictures import job_picture_add, job_picture_remove
from registry.services.jobs.reporting import says_of
from registry.services.jobs.steps import NOT_SKIPPED, job_reopen, step_do, step_skip
from registry.services.jobs.verifying import READY

Plain = dict[str, Any]
BENCHED = (JobStep.SUSPECT_BENCHED, JobStep.NEW_BENCHED)
FORMS: dict[str, type[forms.Form]] = {
    JobStep.SYMPTOM: AboutForm,
    JobStep.RULED_OUT: NoteForm,
    JobStep.PREPARED: PreparedForm,
    JobStep.REMOVED: RemovedForm,
    JobStep.SUSPECT_BENCHED: NoteForm,
    JobStep.NEW_BENCHED: NoteForm,
    JobStep.FITTED: FittedForm,
    JobStep.VERIFIED: NoteForm,
    JobStep.CLOSED: CloseForm,
}
FIELDS = {"distance_km": "distance", "fitted_at_km": "fitted_at"}
CAUTIONS = {
    JobStep.RULED_OUT: "before",
    JobStep.PREPARED: "before",
    JobStep.REMOVED: "before",
    JobStep.SUSPECT_BENCHED: "check",
    JobStep.NEW_BENCHED: "bench",
    JobStep.FITTED: "after",
    JobStep.VERIFIED: "after",
}


@job_page
def step(request: HttpRequest, actor: Actor, job: Job, step: str) -> HttpResponseBase:
    if step not in JobStep.values:
        raise Http404
    state = step_states(job.events.all())[step]
    if request.method != "POST":
        form = FORMS[step](initial=_known(job, state, distance_unit(request)))
        return _page(request, actor, job, state, form, SkipForm())
    if request.POST.get("act") == "skip":
        return _skip(request, actor, job, state)
    form = FORMS[step](request.POST)
    try:
        event = _do(actor, job, step, form)
    except RegistryErrors as errors:
        lay_errors(form, errors, FIELDS)
        return _page(request, actor, job, state, form, SkipForm(), status=400)
    _keep_pictures(request, actor, job, step)
    if event is not None and event.act in (JobAct.STOPPED, JobAct.TRIED):
        return redirect("job_step", uuid=job.uuid, step=step)
    return redirect("job", uuid=job.uuid)


def _do(actor: Actor, job: Job, step: str, form: Any) -> JobEvent | None:
    if step in BENCHED:
        return None  # their sheets have pages of their own; only pictures are added here
    body = form.body()
    if step == JobStep.RULED_OUT:
        body["checks"] = {name: said(form.data, f"c-{name}") for name in ORDER[job.symptom]}
    if step == JobStep.VERIFIED:
        body |= tries_body(job, form.data)
    return step_do(by=actor, job=job, step=step, body=body)


def _skip(request: HttpRequest, actor: Actor, job: Job, state: StepState) -> HttpResponseBase:
    skipping = SkipForm(request.POST)
    try:
        step_skip(by=actor, job=job, step=state.step, reason=skipping.words())
    except RegistryErrors as errors:
        lay_errors(skipping, errors)
        form = FORMS[state.step](initial=_known(job, state, distance_unit(request)))
        return _page(request, actor, job, state, form, skipping, status=400)
    return redirect("job", uuid=job.uuid)


def _keep_pictures(request: HttpRequest, actor: Actor, job: Job, step: str) -> None:
    for upload in request.FILES.getlist("pictures"):
        try:
            job_picture_add(by=actor, job=job, step=step, upload=upload)
        except RegistryErrors as errors:
            messages.warning(request, " ".join(str(error) for error in errors))


def _known(job: Job, state: StepState, unit: str) -> Plain:
    """What the form opens with: what was said before, else what the job knows."""
    data = state.event.data if state.act == JobAct.DONE and state.event is not None else {}
    private = state.event.private if state.act == JobAct.DONE and state.event is not None else {}
    values: Plain = {"note": private.get("note", ""), "distance_unit": unit}
    if state.step == JobStep.SYMPTOM:
        return values | about_values(job, unit)
    if state.step in (JobStep.REMOVED, JobStep.FITTED):
        values |= {
            "distance": distance_shown(data.get("distance_km", _last_distance(job)), unit),
            "on": data.get("on") or timezone.localdate().isoformat(),
            "old_unit_since": data.get("old_unit_since", "unknown"),
            "fitted_at": distance_shown(data.get("fitted_at_km"), unit),
        }
    return values | {name: data[name] for name in ("ready", "outcome") if name in data}


def _last_distance(job: Job) -> float | None:
    """Of the vehicle, as somebody last wrote it in this job."""
    said_at = [event.data.get("distance_km") for event in job.events.all() if event.data.get("distance_km")]
    return said_at[-1] if said_at else job.distance_km


def _page(
    request: HttpRequest,
    actor: Actor,
    job: Job,
    state: StepState,
    form: Any,
    skipping: SkipForm,
    status: int = 200,
) -> HttpResponseBase:
    step = state.step
    context = {
        "page": "jobs",
        "job": job,
        "name": job_name(job),
        "step": step,
        "step_name": step_text(step),
        "number": list(JobStep.values).index(step) + 1,
        "of": len(JobStep.values),
        "state": state,
        "state_words": act_text(state.act),
        "says": says_of(state),
        "form": form,
        "skipping": skipping,
        "may_skip": step not in NOT_SKIPPED and not (step == JobStep.VERIFIED and job.stopped),
        "benched": step in BENCHED,
        "pictures": [picture for picture in job.pictures.all() if picture.step == step],
        "cautions": cautions_for(CAUTIONS[JobStep(step)]) if step in CAUTIONS else [],
    }
    extra = EXTRAS.get(step)
    if extra is not None:
        context |= extra(request, actor, job, state)  # nosec B610
    return render(request, "technician/job_step.html", context, status=status)


def _checks(request: HttpRequest, actor: Actor, job: Job, state: StepState) -> Plain:
    """The checks before pulling it, in the order for this symptom, with the results chosen so far."""
    kept = state.event.data.get("checks", {}) if state.event is not None else {}
    rows = []
    for name in ORDER[job.symptom]:
        chosen = request.POST.get(f"c-{name}", str(kept.get(name, "")))
        rows.append({"name": name, "check": STEPS[name], "chosen": chosen})
    return {"checks": rows}


def _unit(request: HttpRequest, actor: Actor, job: Job, state: StepState) -> Plain:
    which = JobUnit.OLD if state.step == JobStep.SUSPECT_BENCHED else JobUnit.NEW
    check = check_of(sheets_of_job(job).get(which))
    return {"unit": checked_words(check), "is_old": which == JobUnit.OLD}


def _trying(request: HttpRequest, actor: Actor, job: Job, state: StepState) -> Plain:
    chosen = request.POST.getlist("ready")
    return {
        "ready": [(word, ready_text(word), word in chosen) for word in READY],
        "tries": tries_shown(job, request.POST),
        "starts_known": job.design is not None and job.design.start_known,
        "codes": request.POST.get("codes", ""),
    }


EXTRAS: dict[str, Callable[[HttpRequest, Actor, Job, StepState], Plain]] = {
    JobStep.RULED_OUT: _checks,
    JobStep.SUSPECT_BENCHED: _unit,
    JobStep.NEW_BENCHED: _unit,
    JobStep.VERIFIED: _trying,
}


@require_POST
@job_page
def reopen(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    try:
        job_reopen(by=actor, job=job)
    except RegistryErrors as errors:
        messages.error(request, " ".join(str(error) for error in errors))
    return redirect("job", uuid=job.uuid)


@require_POST
@job_page
def recheck(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    """Hold the job's readings against the pattern as it is now."""
    job_recheck(by=actor, job=job)
    messages.success(request, _("Checked against the pattern as it is now."))
    return redirect("job", uuid=job.uuid)


@job_page
def picture(request: HttpRequest, actor: Actor, job: Job, order: int) -> HttpResponseBase:
    """A picture of the job; posted to, it is removed."""
    found = next((p for p in job.pictures.all() if p.order == order), None)
    if found is None:
        raise Http404
    if request.method == "POST":
        job_picture_remove(by=actor, job=job, order=order)
        return redirect("job_step", uuid=job.uuid, step=found.step)
    return FileResponse(found.image.open("rb"), content_type="image/jpeg")
