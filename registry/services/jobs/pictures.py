"""Pictures at the steps of a job: the job's people alone see them, and no position data is left in them."""

from __future__ import annotations

from functools import partial
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction

from registry.errors import refusal
from registry.models import Job, JobPicture
from registry.models.jobs import JobAct
from registry.permissions import Actor, require
from registry.services.jobs.events import event_add, job_locked, step_named
from registry.services.pictures import MOST_BYTES, file_goes_with, reencoded
from registry.translation import gettext as _

MOST_PICTURES = 30


def job_picture_add(*, by: Actor, job: Job, step: str, upload: IO[bytes]) -> JobPicture:
    """Store a picture at a step; RegistryErrors where it is none, too large, or one too many."""
    step = step_named(step)
    require(by, "work_on_job", job)
    encoded = reencoded(upload.read(MOST_BYTES + 1))  # before the job is held: others work on it meanwhile
    picture = JobPicture(job=job, step=step)
    with file_goes_with(picture) as name, transaction.atomic():
        job = job_locked(by, job, closed=True)
        taken = list(job.pictures.values_list("order", flat=True))
        if len(taken) >= MOST_PICTURES:
            raise refusal(
                "too_many_pictures",
                _("This job has {n} pictures already.").format(n=MOST_PICTURES),
                _("Remove one first."),
                field="/pictures",
            )
        picture.job, picture.order = job, max(taken, default=0) + 1
        picture.image.save(name, ContentFile(encoded), save=False)
        picture.save()
        event_add(job, by=by, step=step, act=JobAct.PICTURE, data={"order": picture.order})
    return picture


@transaction.atomic
def job_picture_remove(*, by: Actor, job: Job, order: int) -> bool:
    """Remove a picture; that there was one stays.  False where there is none such."""
    job = job_locked(by, job, closed=True)
    picture = job.pictures.filter(order=order).first()
    if picture is None:
        return False
    event_add(job, by=by, step=picture.step, act=JobAct.PICTURE_REMOVED, data={"order": order})
    transaction.on_commit(partial(picture.image.delete, save=False))
    picture.delete()
    return True
