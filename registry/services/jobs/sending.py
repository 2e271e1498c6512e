"""Back to the registry: the new unit's sheet, what became of the old one, how the job came out.

Nothing of a job goes there by itself but the suspect's sheet, and nothing of the vehicle ever does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.errors import refusal
from registry.models import Job, JobEvent, JobSheet, User
from registry.models.jobs import JobAct, JobOutcome, JobStep, JobUnit, UnitEventKind
from registry.permissions import require
from registry.selectors.jobs import check_of, sheets_of_job
from registry.services.allowance import allowance_require
from registry.services.audit import record
from registry.services.jobs.benching import sheet_store
from registry.services.jobs.events import event_add, job_locked
from registry.services.jobs.lives import life_begin, life_told
from registry.services.sheets import sheet_restore, sheet_withdraw
from registry.translation import gettext as _

Plain = dict[str, Any]
Sheets = Mapping[str, JobSheet]
WHAT = ("new_unit", "old_unit", "outcome")


@transaction.atomic
def job_send(*, by: User, job: Job, what: str) -> JobEvent:
    """Give one of WHAT to the registry; what was given already stays as it is.

    Raises RegistryErrors where the job hasn't come that far; PermissionDenied.
    """
    require(by, "own_job", job)
    job = job_locked(by, job, closed=True)
    data = _SENDERS[_known(what)](by, job)
    return event_add(job, by=by, step=JobStep.CLOSED, act=JobAct.SENT, data={"what": what, **data})


@transaction.atomic
def job_send_back(*, by: User, job: Job, what: str) -> JobEvent:
    """Take back what was given."""
    require(by, "own_job", job)
    job = job_locked(by, job, closed=True)
    _RETURNERS[_known(what)](by, job)
    return event_add(job, by=by, step=JobStep.CLOSED, act=JobAct.TAKEN_BACK, data={"what": what})


def sent_of(job: Job, sheets: Sheets) -> set[str]:
    """What the registry has of this job now.  sheets: of `sheets_of_job`."""
    new = sheets.get(JobUnit.NEW)
    sent = set()
    if new is not None and new.sheet is not None and new.sheet.withdrawn_at is None:
        sent.add("new_unit")
    if job.old_unit_id and job.unit_events.filter(unit=job.old_unit_id, withdrawn_at=None).exists():
        sent.add("old_unit")
    if job.outcome_sent_at is not None:
        sent.add("outcome")
    return sent


def old_unit_kind(job: Job, sheets: Sheets) -> str | None:
    """What the job says of its old unit: failed, or good at its distance; None where it says neither."""
    if job.outcome == JobOutcome.WENT:
        return UnitEventKind.FAILED
    check = check_of(sheets.get(JobUnit.OLD))
    if job.outcome and check is not None and check.verdict == "good":
        return UnitEventKind.GOOD
    return None


def _known(what: str) -> str:
    if what not in WHAT:
        raise refusal(
            "word_unknown",
            _("“{value}” is not known here.").format(value=what[:40]),
            _("Choose one of: {words}.").format(words=", ".join(WHAT)),
            field="/what",
        )
    return what


def _send_new(by: User, job: Job) -> Plain:
    new = sheets_of_job(job).get(JobUnit.NEW)
    if new is None:
        raise refusal(
            "nothing_to_send",
            _("No new unit has been read in this job."),
            _("Read it on the bench sheet before it is fitted."),
            field="/what",
        )
    sheet_store(by=by, job=job, kept=new)
    assert new.sheet is not None
    if new.sheet.withdrawn_at is not None:
        sheet_restore(by=by, sheet=new.sheet)
    life_begin(job)
    return {"sheet": str(new.sheet.uuid)}


def _send_old(by: User, job: Job) -> Plain:
    sheets = sheets_of_job(job)
    old, kind = sheets.get(JobUnit.OLD), old_unit_kind(job, sheets)
    if old is None or kind is None:
        raise refusal(
            "nothing_to_send",
            _("This job doesn't say yet what became of the old unit."),
            _("Read it, then close the job with its outcome."),
            field="/what",
        )
    sheet_store(by=by, job=job, kept=old)
    assert old.sheet is not None and job.old_unit is not None
    event = life_told(job, kind, old.sheet)
    record(by=by, action="unit_event", target_kind="unit", target_uuid=job.old_unit.uuid, kind=kind)
    return {"unit_event": str(event.uuid), "kind": kind}


def _send_outcome(by: User, job: Job) -> Plain:
    if not job.outcome:
        raise refusal(
            "nothing_to_send",
            _("This job has no outcome yet."),
            _("Close it with its outcome first."),
            field="/what",
        )
    if job.outcome_sent_at is None:
        assert job.contributor is not None  # `own_job`
        allowance_require(job.contributor)
        job.outcome_sent_at = timezone.now()
        job.save(update_fields=["outcome_sent_at"])
        _outcome_record(by, job, "outcome_send")
    return {"outcome": job.outcome}


def _return_new(by: User, job: Job) -> None:
    new = sheets_of_job(job).get(JobUnit.NEW)
    if new is not None and new.sheet is not None:
        sheet_withdraw(by=by, sheet=new.sheet, reason=_("taken back from its job"))
    job.unit_events.filter(unit=job.new_unit, withdrawn_at=None).update(withdrawn_at=timezone.now())


def _return_old(by: User, job: Job) -> None:
    taken = job.unit_events.filter(unit=job.old_unit, withdrawn_at=None).update(withdrawn_at=timezone.now())
    if taken and job.old_unit is not None:
        uuid = job.old_unit.uuid
        record(by=by, action="unit_event_take_back", target_kind="unit", target_uuid=uuid)


def _return_outcome(by: User, job: Job) -> None:
    job.outcome_sent_at = None
    job.save(update_fields=["outcome_sent_at"])
    _outcome_record(by, job, "outcome_take_back")


def _outcome_record(by: User, job: Job, action: str) -> None:
    """In the log and the feed by its design alone: the job stays private."""
    if job.design is not None:
        record(by=by, action=action, target_kind="design", target_uuid=job.design.uuid)


_SENDERS: dict[str, Callable[[User, Job], Plain]] = {
    "new_unit": _send_new,
    "old_unit": _send_old,
    "outcome": _send_outcome,
}
_RETURNERS: dict[str, Callable[[User, Job], None]] = {
    "new_unit": _return_new,
    "old_unit": _return_old,
    "outcome": _return_outcome,
}
