"""The report of a job, one page to print or to hand over."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from registry.models import Job
from registry.pages.jobs.access import job_page
from registry.pages.preferences import distance_unit
from registry.permissions import Actor
from registry.services.jobs.reporting import job_report_pdf


@job_page
def report(request: HttpRequest, actor: Actor, job: Job) -> HttpResponse:
    response = HttpResponse(
        job_report_pdf(by=actor, job=job, unit=distance_unit(request)), content_type="application/pdf"
    )
    response["Content-Disposition"] = f'inline; filename="job-{job.uuid.hex[:8]}.pdf"'
    return response
