"""Back to the registry in two taps: what would go is shown, then it goes."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from registry.errors import RegistryErrors
from registry.formats.job_words import outcome_text, symptom_text
from registry.models import Job, User
from registry.models.jobs import JobUnit
from registry.pages.jobs.access import job_page
from registry.pages.jobs.card import job_name
from registry.permissions import Actor, account_of, may
from registry.selectors.jobs import check_of, sheets_of_job
from registry.services.jobs.sending import WHAT, job_send, job_send_back, old_unit_kind, sent_of


@job_page
def send(request: HttpRequest, actor: Actor, job: Job, what: str) -> HttpResponseBase:
    """The first tap shows it, the second sends it; it can be taken back the same way."""
    if what not in WHAT:
        raise Http404
    if not may(actor, "own_job", job):
        return _needs_account(request, actor, job)
    user = account_of(actor)
    assert isinstance(user, User)
    if request.method == "POST":
        act = job_send_back if request.POST.get("act") == "take_back" else job_send
        try:
            act(by=user, job=job, what=what)
        except RegistryErrors as errors:
            messages.error(request, " ".join(str(error) for error in errors))
        else:
            messages.success(request, _("Done."))
        return redirect("job", uuid=job.uuid)
    sheets = sheets_of_job(job)
    new = sheets.get(JobUnit.NEW)
    checked = check_of(new)
    context = {
        "page": "jobs",
        "job": job,
        "name": job_name(job),
        "what": what,
        "sent": what in sent_of(job, sheets),
        "new": new,
        "readings": 0 if new is None else len(new.body.get("readings", [])),
        "new_is_odd": checked is not None and checked.verdict == "faulty",
        "kind": old_unit_kind(job, sheets),
        "symptom": symptom_text(job.symptom),
        "outcome": outcome_text(job.outcome),
    }
    return render(request, "technician/job_send.html", context)


def _needs_account(request: HttpRequest, actor: Actor, job: Job) -> HttpResponseBase:
    """A guest signs in first; somebody signed in takes the job over on its card."""
    if account_of(actor) is None:
        card = urlencode({"next": reverse("job", args=[job.uuid])})
        return redirect(f"{reverse('account_login')}?{card}")
    messages.warning(request, _("Take the job into your account first."))
    return redirect("job", uuid=job.uuid)
