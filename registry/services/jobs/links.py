"""The private link of a job: shown once, kept as a digest, withdrawn at once; and the way into an account."""

from __future__ import annotations

import secrets

from django.db import transaction

from registry.formats.link_tokens import link_digest
from registry.models import Job, User
from registry.models.jobs import JobAct, JobStep, JobUnit
from registry.permissions import Actor, LinkHolder, require
from registry.selectors.jobs import sheets_of_job
from registry.services.accounts import contributor_of
from registry.services.jobs.benching import sheet_store
from registry.services.jobs.events import event_add, job_locked

TOKEN_BYTES = 24  # 192 bits: nobody guesses one


def new_link() -> tuple[str, str]:
    """A token and what is kept of it."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    return token, link_digest(token)


@transaction.atomic
def link_make(*, by: Actor, job: Job) -> str:
    """The token of a new link; an older one leads nowhere from now on.  Whoever has it works on the job."""
    job = job_locked(by, job, closed=True)
    token, job.link_digest = new_link()
    job.save(update_fields=["link_digest"])
    event_add(job, by=by, step=JobStep.SYMPTOM, act=JobAct.LINK_MADE)
    return token


@transaction.atomic
def link_withdraw(*, by: Actor, job: Job) -> None:
    """The link leads nowhere any more, for whoever had it; a job without an account is out of reach then."""
    job = job_locked(by, job, closed=True)
    if job.link_digest is not None:
        job.link_digest = None
        job.save(update_fields=["link_digest"])
        event_add(job, by=by, step=JobStep.SYMPTOM, act=JobAct.LINK_WITHDRAWN)


@transaction.atomic
def job_take_over(*, by: LinkHolder, job: Job) -> Job:
    """Take a job that only a link led to into the account of whoever is signed in; the link stays."""
    require(by, "take_over_job", job)
    job = job_locked(by, job, closed=True)
    assert isinstance(by.user, User)
    job.contributor = contributor_of(by.user)
    job.save(update_fields=["contributor"])
    event_add(job, by=by, step=JobStep.SYMPTOM, act=JobAct.TAKEN_OVER)
    old = sheets_of_job(job).get(JobUnit.OLD)
    if old is not None:
        sheet_store(by=by.user, job=job, kept=old, least=True)
    return job
