"""Jobs that came out, of people whose word counts."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils import timezone

from registry.models import Contributor, Design, Job, JobSheet, User
from registry.models.jobs import JobOutcome, JobUnit
from registry.services.accounts import contributor_of


def vouched(user: User) -> Contributor:
    """Whoever runs the registry says that this person is known."""
    contributor = contributor_of(user)
    contributor.import_name = f"known {user.pk}"
    contributor.save(update_fields=["import_name"])
    return contributor


def finished(people: Sequence[User], design: Design, symptom: str, count: int, at_fault: int) -> list[Job]:
    """Jobs of these in turn that were closed, the unit read, the outcome given to the registry."""
    jobs = []
    for n in range(count):
        job = Job.objects.create(
            contributor=contributor_of(people[n % len(people)]),
            design=design,
            symptom=symptom,
            outcome=JobOutcome.WENT if n < at_fault else JobOutcome.SOMETHING_ELSE,
            outcome_sent_at=timezone.now(),
            closed_at=timezone.now(),
        )
        JobSheet.objects.create(job=job, of=JobUnit.OLD, body={})
        jobs.append(job)
    return jobs
