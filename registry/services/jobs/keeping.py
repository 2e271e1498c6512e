"""A check that is worth keeping becomes a job: begun and its suspect benched in one go."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from registry.models import User
from registry.models.jobs import JobUnit
from registry.permissions import Actor
from registry.services.jobs.benching import unit_bench
from registry.services.jobs.starting import JobMade, job_start

Plain = dict[str, Any]


@transaction.atomic
def job_from_check(*, by: User | None, about: Plain, sheet: Plain) -> JobMade:
    """about: as for `job_start`; sheet: the body that was checked.  Both or nothing; RegistryErrors."""
    made = job_start(by=by, body=about)
    actor: Actor = by if by is not None else made.holder
    if made.new:
        unit_bench(by=actor, job=made.job, of=JobUnit.OLD, body=sheet)
        made.job.refresh_from_db()
    return made
