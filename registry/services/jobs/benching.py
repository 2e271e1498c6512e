"""The old unit checked, the new one read before it is fitted: their sheets, and what the check says of them.

The old one's sheet is stored as a suspect's, which never enters a consensus; the new one's stays with the
job until its people send it.  Neither carries a word about the vehicle.
"""

from __future__ import annotations

from typing import Any

from django.db import transaction

from registry.errors import RegistryErrors, refusal
from registry.models import CurrentChart, Job, JobCheck, JobEvent, JobSheet, User
from registry.models.jobs import JobAct, JobStep, JobUnit
from registry.permissions import Actor, account_of, owns_job
from registry.selectors.jobs import check_of, sheets_of_job
from registry.services.checks import check_suspect
from registry.services.jobs.events import event_add, job_locked
from registry.services.sheet_body import read_body
from registry.services.sheet_fields import known_fields
from registry.services.sheets import refuse_unmeasured, sheet_submit
from registry.translation import gettext as _

Plain = dict[str, Any]
STEP_OF = {JobUnit.OLD: JobStep.SUSPECT_BENCHED, JobUnit.NEW: JobStep.NEW_BENCHED}


@transaction.atomic
def unit_bench(*, by: Actor, job: Job, of: str, body: Any) -> JobEvent:
    """Keep a bench sheet of the old or the new unit, and check it against the pattern as it is now.

    body: as for a sheet; what the job knows already (design, unit's name, purpose, distance) may be left out.
    Raises RegistryErrors with every fault of the body.
    """
    job = job_locked(by, job)
    unit = JobUnit(of)
    body = _completed(job, unit, body)
    sheet_body = read_body(body)
    refuse_unmeasured(sheet_body)
    if job.design is not None and sheet_body.design.pk != job.design.pk:
        raise refusal(
            "design_settled",
            _("This job is about {design}.").format(design=job.design.name),
            _("Read its unit on that design's sheet."),
            field="/design",
        )
    sent_before = _sent_before(job, unit, str(sheet_body.client_id))
    if sent_before is not None:
        return sent_before
    if job.design is None:
        job.design = sheet_body.design
        job.save(update_fields=["design"])
    body_kept = {**known_fields(body), "client_id": str(sheet_body.client_id)}
    kept = JobSheet.objects.create(job=job, of=unit, body=body_kept)
    account = account_of(by)
    if unit == JobUnit.OLD and account is not None and owns_job(by, job):
        sheet_store(by=account, job=job, kept=kept, least=True)
    check = check_keep(kept)
    data = {**_told(check), "client_id": str(sheet_body.client_id)}
    return event_add(job, by=by, step=STEP_OF[unit], act=JobAct.DONE, data=data)


def _sent_before(job: Job, of: JobUnit, client_id: str) -> JobEvent | None:
    """The event of this very sheet, where it arrives a second time."""
    events = job.events.filter(step=STEP_OF[of], act=JobAct.DONE)
    return events.filter(data__client_id=client_id).first()


def _completed(job: Job, of: JobUnit, body: Any) -> Any:
    """The body with what the job knows: nobody types it twice, and no vehicle is named in it."""
    if not isinstance(body, dict):
        return body
    given = body.get("unit") if isinstance(body.get("unit"), dict) else {}
    new = of == JobUnit.NEW
    unit = {**(given or {}), "key": unit_key(job, of)}
    distance = body.get("distance_km")
    if distance in (None, ""):
        distance = 0.0 if new else job.old_unit_km
    return {
        **body,
        "design": body.get("design") or ("" if job.design is None else str(job.design.uuid)),
        "unit": unit,
        "purpose": "known_good" if new else "suspect",
        "held_good": "new" if new else "",
        "distance_km": distance,
        "units_claimed": 1,
    }


def unit_key(job: Job, of: str) -> str:
    """The unit's name in public: of the job's id alone."""
    return f"{job.uuid.hex[:8]} {of}"


def sheet_store(*, by: User, job: Job, kept: JobSheet, least: bool = False) -> None:
    """Into the registry, once.  least: where today's allowance is used up the job keeps it until later."""
    if kept.sheet is not None:
        return
    try:
        with transaction.atomic():
            sheet = sheet_submit(by=by, body=kept.body)
    except RegistryErrors as errors:
        if least and all(error.code == "allowance_used" for error in errors):
            return
        raise
    kept.sheet = sheet
    kept.save(update_fields=["sheet"])
    name = "old_unit" if kept.of == JobUnit.OLD else "new_unit"
    setattr(job, name, sheet.unit)
    job.save(update_fields=[name])


@transaction.atomic
def job_recheck(*, by: Actor, job: Job) -> JobCheck | None:
    """Hold the job's sheets against the pattern as it is now; the old unit's new verdict, if there is one."""
    job = job_locked(by, job, closed=True)
    told: JobCheck | None = None
    for kept in sheets_of_job(job).values():
        check = check_keep(kept)
        if check is not None:
            event_add(job, by=by, step=STEP_OF[JobUnit(kept.of)], act=JobAct.CHECKED, data=_told(check))
            told = check if kept.of == JobUnit.OLD else told
    return told


def check_keep(kept: JobSheet) -> JobCheck | None:
    """Check a job's sheet, unless this revision has had its say; None where there is no pattern yet."""
    body = {**kept.body, "purpose": "suspect", "held_good": ""}
    design = read_body(body).design
    current = CurrentChart.objects.filter(design=design, revision__state="published").first()
    before = check_of(kept)
    if current is None or (before is not None and before.revision_id == current.revision_id):
        return before
    result = check_suspect(body=body)
    return JobCheck.objects.create(
        job_sheet=kept,
        revision_id=current.revision_id,
        verdict=result["verdict"],
        p_good=result["p_good"],
        result=result,
    )


def _told(check: JobCheck | None) -> Plain:
    if check is None:
        return {"verdict": None, "revision": None}
    return {"verdict": check.verdict, "p_good": check.p_good, "revision": check.revision.number}
