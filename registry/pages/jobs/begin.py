"""One's jobs, the beginning of one, its private link, and the way of a linked job into an account."""

from __future__ import annotations

import uuid as ids
from typing import Any
from uuid import UUID

from allauth.account.adapter import get_adapter
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from registry.errors import RegistryErrors, refusal
from registry.formats.job_words import act_text, outcome_text, step_text, symptom_text
from registry.job_links import link_opened
from registry.models import Job, User
from registry.models.jobs import JobSymptom
from registry.pages.form_errors import lay_errors
from registry.pages.jobs.access import job_page, private
from registry.pages.jobs.card import job_name
from registry.pages.jobs.forms import AboutForm
from registry.pages.preferences import distance_unit
from registry.permissions import Actor, LinkHolder
from registry.selectors.bench_page import design_for_bench
from registry.selectors.jobs import job_of_link, jobs_listed, next_step, step_states
from registry.services.jobs.links import job_take_over, link_make, link_withdraw
from registry.services.jobs.starting import JobMade, job_start
from registry.services.sign_ups import guest_job_allowed

A_PAGE = 25
FIELDS = {"distance_km": "distance"}


@login_required
def my_jobs(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    page = Paginator(jobs_listed(request.user), A_PAGE).get_page(request.GET.get("page", 1))
    rows = [_row(job) for job in page]
    return private(render(request, "technician/jobs.html", {"page": "jobs", "jobs": page, "rows": rows}))


def _row(job: Any) -> dict[str, Any]:
    states = step_states(job.events.all())
    due = None if job.closed_at is not None else next_step(states)
    revised = job.checked_revision is not None and job.checked_revision != job.current_revision
    return {
        "job": job,
        "name": job_name(job),
        "symptom": symptom_text(job.symptom),
        "due": "" if due is None else step_text(due),
        "state": act_text(states[due].act) if due is not None and states[due].act else "",
        "outcome": outcome_text(job.outcome),
        "revised": revised and job.current_revision is not None and job.closed_at is None,
    }


def new(request: HttpRequest) -> HttpResponseBase:
    """Begin a job: in one's account, or with a link that is shown once."""
    unit = distance_unit(request)
    asked = request.GET.get("design", "")
    if request.method != "POST":
        values = {
            "client_id": str(ids.uuid4()),
            "design": asked,
            "distance_unit": unit,
            "symptom": request.GET.get("symptom")
            if request.GET.get("symptom") in JobSymptom.values
            else None,
        }
        return _new_page(request, AboutForm(initial=values), asked)
    form = AboutForm(request.POST)
    user = request.user if isinstance(request.user, User) else None
    try:
        guest_counted(request)
        made = job_start(by=user, body=form.body())
    except RegistryErrors as errors:
        lay_errors(form, errors, FIELDS)
        return _new_page(request, form, request.POST.get("design", ""), status=400)
    return began(request, made)


def guest_counted(request: HttpRequest) -> None:
    """Whoever has no account begins so many jobs a day; RegistryErrors where that is used up."""
    if isinstance(request.user, User):
        return
    if not guest_job_allowed(address=get_adapter().get_client_ip(request)):
        raise refusal(
            "allowance_used",
            _("Many jobs were begun from near you today."),
            _("Sign in, or try again tomorrow."),
        )


def began(request: HttpRequest, made: JobMade) -> HttpResponseBase:
    """To the card; whoever has no account is shown the link first, this once."""
    if made.holder is not None and made.token:
        link_opened(request, made.job)
        return link_page(request, made.job, made.token)
    return redirect("job", uuid=made.job.uuid)


def link_page(request: HttpRequest, job: Job, token: str) -> HttpResponse:
    address = request.build_absolute_uri(reverse("job_link", args=[token]))
    context = {"page": "jobs", "job": job, "name": job_name(job), "link": address}
    return private(render(request, "technician/job_link.html", context))


def _new_page(request: HttpRequest, form: AboutForm, design: str, status: int = 200) -> HttpResponse:
    try:
        chosen = design_for_bench(UUID(design))
    except ValueError:
        chosen = None
    context = {"page": "jobs", "form": form, "design": chosen}
    return private(render(request, "technician/job_new.html", context, status=status))


def link(request: HttpRequest, token: str) -> HttpResponseBase:
    """Open a private link; one that was withdrawn, or never was, is not found."""
    job = job_of_link(token)
    if job is None:
        raise Http404
    link_opened(request, job)
    return private(redirect("job", uuid=job.uuid))


@require_POST
@job_page
def link_change(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    """Make a link, which is shown once, or withdraw the one there is."""
    if request.POST.get("act") == "withdraw":
        link_withdraw(by=actor, job=job)
        messages.success(request, _("The link leads nowhere any more."))
        return redirect("job", uuid=job.uuid) if _keeps(actor, job) else redirect("front")
    token = link_make(by=actor, job=job)
    job.refresh_from_db()
    if not _keeps(actor, job):
        link_opened(request, job)
    return link_page(request, job, token)


def _keeps(actor: Actor, job: Job) -> bool:
    """Whether the job stays in reach without its link."""
    return job.contributor is not None and not isinstance(actor, LinkHolder)


@require_POST
@job_page
def take_over(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    if not isinstance(actor, LinkHolder):
        raise PermissionDenied(_("This job can't be taken into an account."))
    job_take_over(by=actor, job=job)
    messages.success(request, _("The job is in your account now."))
    return redirect("job", uuid=job.uuid)
