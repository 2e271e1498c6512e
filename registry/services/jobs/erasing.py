"""What is left of an account's jobs once it is erased: what was measured, and nothing about a vehicle."""

from __future__ import annotations

from functools import partial

from django.db import transaction

from registry.models import Contributor, Job, JobEvent, JobPicture, JobSheet


def jobs_empty(contributor: Contributor) -> None:
    """Free words, pictures and links go; design, symptom, distances and outcomes stay under the pseudonym."""
    jobs = Job.objects.filter(contributor=contributor)
    JobEvent.objects.filter(job__in=jobs).exclude(private={}).update(private={})
    JobSheet.objects.filter(job__in=jobs).update(body={})
    for picture in JobPicture.objects.filter(job__in=jobs):
        transaction.on_commit(partial(picture.image.delete, save=False))
    JobPicture.objects.filter(job__in=jobs).delete()
    jobs.update(vehicle_label="", family_label="", link_digest=None)
