"""What was done in a job is appended to it, one after the other; nothing of it is rewritten."""

from __future__ import annotations

from typing import Any

from django.db.models import Max

from registry.errors import refusal
from registry.models import Job, JobEvent
from registry.models.jobs import JobStep
from registry.permissions import Actor, account_of, require
from registry.selectors.jobs import STATES, step_states
from registry.translation import gettext as _

Plain = dict[str, Any]


def job_locked(by: Actor, job: Job, *, closed: bool = False) -> Job:
    """The job as it is now, held for the transaction; closed: whether a closed one will do.

    Raises PermissionDenied; RegistryErrors where it was closed in the meantime.
    """
    rows = Job.objects.select_for_update(of=("self",), no_key=True).select_related("contributor", "design")
    found = rows.get(pk=job.pk)
    require(by, "work_on_job", found)
    if found.closed_at is not None and not closed:
        raise refusal(
            "job_closed",
            _("This job is closed."),
            _("Open it again to change something; what was written stays."),
        )
    return found


def event_add(
    job: Job, *, by: Actor, step: str, act: str, data: Plain | None = None, private: Plain | None = None
) -> JobEvent:
    """Append an event to a job that is held.  A step that had its say before is corrected by the new one."""
    newest = job.events.aggregate(n=Max("number"))["n"] or 0
    before = step_states(job.events.filter(step=step))[step].event if act in STATES else None
    return JobEvent.objects.create(
        job=job,
        number=newest + 1,
        step=step,
        act=act,
        data=data or {},
        private={name: words for name, words in (private or {}).items() if words},
        corrects=before,
        made_by=account_of(by),
    )


def step_named(text: str) -> str:
    """The step of this name; an error at /step where there is none."""
    if text not in JobStep.values:
        raise refusal(
            "word_unknown",
            _("“{value}” is not known here.").format(value=text[:40]),
            _("Choose one of: {words}.").format(words=", ".join(JobStep.values)),
            field="/step",
        )
    return text
