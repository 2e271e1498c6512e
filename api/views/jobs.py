"""One's own jobs: begin one, do its steps, close it, give what it found to the registry.

Somebody else's job is not found, by whatever right the token has.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any, ClassVar

from django.http import Http404, HttpResponse
from drf_spectacular.utils import OpenApiExample, OpenApiResponse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import jobs as shapes
from api.description.operations import IDEMPOTENCY_KEY, described
from api.idempotency import once
from api.pagination import NewestFirst
from api.permissions import SIGNED_IN, SUBMIT
from api.renderers import PdfForm
from api.views.base import ApiView, ListView, person
from registry.errors import RegistryError, RegistryErrors
from registry.models import Job
from registry.models.jobs import JobOutcome, JobStep
from registry.selectors.job_documents import job_full, job_line
from registry.selectors.jobs import job_for, jobs_of
from registry.services.fields import Fields
from registry.services.jobs.benching import STEP_OF, job_recheck
from registry.services.jobs.events import step_named
from registry.services.jobs.reporting import job_report_pdf
from registry.services.jobs.sending import WHAT, job_send, job_send_back
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import job_close, job_reopen, step_do, step_skip


class JobLine(serializers.Serializer[Any]):
    """Where one of your jobs stands."""

    job = serializers.UUIDField()
    origin = serializers.CharField()
    begun = serializers.DateTimeField()
    vehicle = serializers.CharField(allow_blank=True, help_text="A word of your own")
    family = serializers.CharField(allow_blank=True)
    design = serializers.UUIDField(allow_null=True)
    design_name = serializers.CharField(allow_null=True)
    symptom = serializers.ChoiceField(choices=Job.Symptom.choices)
    distance_km = serializers.FloatField(allow_null=True, help_text="Of the vehicle when it began")
    old_unit_km = serializers.FloatField(allow_null=True, help_text="On the old unit")
    next_step = serializers.ChoiceField(choices=JobStep.choices, allow_null=True)
    stopped = serializers.BooleanField(help_text="A start where none may be, not yet put right: no driving")
    verified = serializers.DateTimeField(allow_null=True)
    outcome = serializers.ChoiceField(choices=JobOutcome.choices, allow_null=True)
    outcome_given = serializers.DateTimeField(allow_null=True)
    closed = serializers.DateTimeField(allow_null=True)

    def to_representation(self, job: Any) -> Any:
        return job_line(job)


class Jobs(ListView):
    rules = {"GET": SIGNED_IN, "POST": SUBMIT}
    pagination_class = NewestFirst
    serializer_class = JobLine

    @described("jobs_list", answer=JobLine, example=shapes.LINE_EXAMPLE, page=True, refuses=[403])
    def get(self, request: Request) -> Response:
        """Your jobs, newest first."""
        rows = jobs_of(person(request)).select_related("design").prefetch_related("events")
        return _private(self.page(request, rows))

    @described(
        "jobs_begin",
        answer=shapes.JOB,
        example=shapes.EXAMPLE,
        status=201,
        body=shapes.BODY,
        body_example=shapes.BODY_EXAMPLE,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Begin a job.  The same `client_id` again gets the first one, with status 200."""

        def act() -> Response:
            made = job_start(by=person(request), body=request.data)
            job = _job(request, made.job.uuid)
            response = _shown(job, status=201 if made.new else 200)
            response["Location"] = request.build_absolute_uri(f"/api/v1/jobs/{job.uuid}/")
            return response

        return once(request, act)


class OneJob(ApiView):
    rules = {"GET": SIGNED_IN}

    @described("jobs_retrieve", answer=shapes.JOB, example=shapes.EXAMPLE, refuses=[403])
    def get(self, request: Request, job: uuid.UUID) -> Response:
        """A job of yours: its steps, its units with their verdicts, and everything that was done."""
        return _shown(_job(request, job))


def deed(operation: str, **more: Any) -> Callable[[Callable[[Any, Request, Job], None]], Any]:
    """A POST that does something to a job of yours, once for a key, and shows the job as it is then.

    more: of `described`, such as the body.
    """
    described_so = described(
        operation,
        answer=shapes.JOB,
        example=shapes.EXAMPLE,
        parameters=[IDEMPOTENCY_KEY],
        refuses=[403, 409, 422],
        **more,
    )

    def post_of(act: Callable[[Any, Request, Job], None]) -> Any:
        @wraps(act)
        def post(view: ApiView, request: Request, job: uuid.UUID) -> Response | HttpResponse:
            def do() -> Response:
                act(view, request, _job(request, job))
                return _shown(_job(request, job))

            return once(request, do)

        return described_so(post)

    return post_of


class _Deed(ApiView):
    rules: ClassVar[dict[str, Any]] = {"POST": SUBMIT}
    cost = 2


class JobSteps(_Deed):
    @deed("jobs_step", body=shapes.STEP_BODY, body_example=shapes.STEP_EXAMPLE)
    def post(self, request: Request, found: Job) -> None:
        """Do a step, put it right, or skip it with a reason.  Each is an event; none is rewritten."""
        user, fields = person(request), Fields(request.data)
        step = step_named(fields.text("step", needed=True))
        if fields.one_of("act", ("done", "skipped"), "done") == "skipped":
            step_skip(by=user, job=found, step=step, reason=fields.text("reason", longest=1000))
            return
        data = fields.inside("data").body
        fields.raise_all()
        under = "/data/sheet" if step in STEP_OF.values() else "/data"
        try:
            step_do(by=user, job=found, step=step, body=data)
        except RegistryErrors as errors:
            raise RegistryErrors([_under(error, under) for error in errors]) from None


class JobEnd(_Deed):
    @deed("jobs_outcome", body=shapes.OUTCOME_BODY, body_example={"outcome": "went"})
    def post(self, request: Request, found: Job) -> None:
        """Close a job with its outcome; every step must be done or skipped by then."""
        job_close(by=person(request), job=found, body=request.data)


class JobReopening(_Deed):
    @deed("jobs_reopen")
    def post(self, request: Request, found: Job) -> None:
        """Open a closed job again."""
        job_reopen(by=person(request), job=found)


class JobRecheck(_Deed):
    cost = 5

    @deed("jobs_recheck")
    def post(self, request: Request, found: Job) -> None:
        """Hold the job's units against the chart as it is now."""
        job_recheck(by=person(request), job=found)


class JobGiving(_Deed):
    @deed("jobs_give", body=shapes.GIVE_BODY, body_example={"what": "new_unit"})
    def post(self, request: Request, found: Job) -> None:
        """Give the new unit's sheet, what became of the old unit, or the outcome to the registry."""
        fields = Fields(request.data)
        what = fields.one_of("what", WHAT, "")
        if not what and not fields.errors:
            fields.wrong("what", "value_missing", "This is missing.", "Say what you give.")
        back = fields.one_of("act", ("give", "take_back"), "give") == "take_back"
        fields.raise_all()
        (job_send_back if back else job_send)(by=person(request), job=found, what=what)


class JobReport(ApiView):
    rules = {"GET": SIGNED_IN}
    renderer_classes = [PdfForm]

    @described(
        "jobs_report",
        answer=None,
        example=None,
        also={
            (200, "application/pdf"): OpenApiResponse(
                {"type": "string", "format": "binary"},
                "One page",
                examples=[OpenApiExample("Report", value="%PDF-1.3 …")],
            )
        },
        refuses=[403],
    )
    def get(self, request: Request, job: uuid.UUID) -> HttpResponse:
        """The report of a job, one page of PDF."""
        user = person(request)
        report = job_report_pdf(by=user, job=_job(request, job), unit=user.distance_unit)
        return _private(HttpResponse(report, content_type="application/pdf"))


def _job(request: Request, job: uuid.UUID) -> Job:
    found = job_for(person(request), job)
    if found is None:
        raise Http404
    return found


def _shown(job: Job, *, status: int = 200) -> Response:
    return _private(Response(job_full(job), status=status))


def _private(response: Any) -> Any:
    response["Cache-Control"] = "private, no-store"
    return response


def _under(error: RegistryError, start: str) -> RegistryError:
    """The error at its place in what was sent."""
    apart = error.field in ("/step", "/steps", "")
    return error if apart else error.at(field=f"{start}{error.field}")
