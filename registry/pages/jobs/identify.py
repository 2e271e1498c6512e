"""Which switch is this?  For a job whose design is not known yet; its readings go on to the check."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse

from registry.errors import RegistryErrors
from registry.models import Job
from registry.pages.candidates import candidates_of
from registry.pages.cautions import cautions_for
from registry.pages.jobs.access import job_page
from registry.pages.jobs.card import job_name
from registry.pages.loose_form import LooseForm, loose_rows
from registry.permissions import Actor
from registry.selectors.designs import search_designs
from registry.services.jobs.settling import job_settle_design

FOUND = 8


@job_page
def identify(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    """Readings in, candidates out; choosing one settles it and opens its sheet, the readings filled in."""
    if request.POST.get("act") == "settle":
        return _settle(request, actor, job)
    form = LooseForm(request.POST or None)
    found, wrong = candidates_of(form) if request.method == "POST" else (None, [])
    query = request.GET.get("q", "").replace("\0", "").strip()[:200]
    context = {
        "page": "jobs",
        "job": job,
        "name": job_name(job),
        "form": form,
        "wrong": wrong,
        "query": query,
        "results": search_designs(query)[:FOUND] if query else None,
        "found": found,
        "cautions": cautions_for("check"),
    }
    return render(request, "technician/job_identify.html", context, status=400 if wrong else 200)


def _settle(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    try:
        design = UUID(request.POST.get("design", ""))
        job_settle_design(
            by=actor, job=job, design=design, readings=loose_rows(request.POST), pins=_pins(request.POST)
        )
    except ValueError:
        return redirect("job_identify", uuid=job.uuid)
    except RegistryErrors as errors:
        messages.error(request, " ".join(str(error) for error in errors))
        return redirect("job", uuid=job.uuid)
    return redirect(f"{reverse('check_design', args=[design])}?job={job.uuid}")


def _pins(data: Any) -> dict[str, str]:
    """Pin as read → pin of the design, as the page itself had written it."""
    try:
        pins = json.loads(data.get("pins", "") or "{}")
    except ValueError:
        return {}
    if not isinstance(pins, dict):
        return {}
    return {str(read): str(own) for read, own in pins.items()}
