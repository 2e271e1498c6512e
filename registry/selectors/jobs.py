"""Jobs as their own people see them; somebody else's are not found."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from registry.formats.link_tokens import link_digest
from registry.models import CurrentChart, Job, JobCheck, JobEvent, JobSheet, Pin, User
from registry.models.jobs import JobAct, JobStep, JobUnit
from registry.permissions import Actor, works_on_job

STATES = frozenset((JobAct.DONE, JobAct.SKIPPED, JobAct.TRIED, JobAct.STOPPED, JobAct.REOPENED))
SETTLED = frozenset((JobAct.DONE, JobAct.SKIPPED))


def jobs_of(user: User) -> QuerySet[Job]:
    """The jobs that an account may see and work on.  Who else may is decided here and in `works_on_job`."""
    return Job.objects.filter(contributor__user=user)


def jobs_listed(user: User) -> QuerySet[Any]:
    """The newest first, each with its newest event, its suspect's newest check and the chart as it is now."""
    checks = JobCheck.objects.filter(job_sheet__job=OuterRef("pk"), job_sheet__of=JobUnit.OLD).order_by("-pk")
    current = CurrentChart.objects.filter(design=OuterRef("design"), revision__state="published")
    return (
        jobs_of(user)
        .select_related("design")
        .annotate(
            verdict=Subquery(checks.values("verdict")[:1]),
            checked_revision=Subquery(checks.values("revision")[:1]),
            current_revision=Subquery(current.values("revision")[:1]),
        )
        .prefetch_related(Prefetch("events", queryset=JobEvent.objects.order_by("number")))
        .order_by("-created_at", "-pk")
    )


def job_for(actor: Actor, uuid: UUID) -> Job | None:
    """The job, with all that its page shows; None where there is none, or it is not this actor's."""
    job = (
        Job.objects.filter(uuid=uuid)
        .select_related("contributor__user", "design__connector__common", "family", "old_unit", "new_unit")
        .prefetch_related(
            "design__positions",
            Prefetch("design__connector__pins", queryset=Pin.objects.order_by("order")),
        )
        .first()
    )
    return job if job is not None and works_on_job(actor, job) else None


def job_of_link(token: str) -> Job | None:
    """The job that a private link leads to as long as nobody withdrew it."""
    return Job.objects.filter(link_digest=link_digest(token)).first()


@dataclass(frozen=True)
class StepState:
    """Where a step stands.  act: of STATES, "" while nobody came to it; event: the one that says so."""

    step: str
    act: str
    event: JobEvent | None

    @property
    def settled(self) -> bool:
        return self.act in SETTLED


def step_states(events: Iterable[JobEvent]) -> dict[str, StepState]:
    """Every step in its order, by the newest event that says something of it."""
    newest: dict[str, JobEvent] = {}
    for event in events:
        if event.act in STATES:
            newest[event.step] = event
    return {step: _state(step, newest.get(step)) for step in JobStep.values}


def _state(step: str, event: JobEvent | None) -> StepState:
    if event is None or event.act == JobAct.REOPENED:
        return StepState(step, "", event)
    return StepState(step, event.act, event)


def next_step(states: dict[str, StepState]) -> str | None:
    """The first step that is neither done nor skipped."""
    return next((state.step for state in states.values() if not state.settled), None)


def sheets_of_job(job: Job) -> dict[str, JobSheet]:
    """The newest sheet of the old and of the new unit, where there is one."""
    rows = job.job_sheets.select_related("sheet").prefetch_related(
        Prefetch("checks", queryset=JobCheck.objects.select_related("revision").order_by("pk"))
    )
    return {row.of: row for row in rows.order_by("pk")}


def check_of(sheet: JobSheet | None) -> JobCheck | None:
    """The newest check of a job's sheet."""
    checks = [] if sheet is None else list(sheet.checks.all())
    return checks[-1] if checks else None


def current_revision(job: Job) -> Any:
    """The published revision of the job's design as it is now, without its text; None where there is none."""
    if job.design_id is None:
        return None
    current = (
        CurrentChart.objects.select_related("revision")
        .defer("revision__inputs", "revision__content")
        .filter(design_id=job.design_id, revision__state="published")
        .first()
    )
    return None if current is None else current.revision


def loose_readings(events: Iterable[JobEvent]) -> list[dict[str, str]]:
    """The readings by which an unknown switch was found, in its own labels, for the sheet that follows."""
    found = [event for event in events if event.act == JobAct.DESIGN_SETTLED]
    return list(found[-1].data.get("readings", [])) if found else []


def starts_of(job: Job) -> frozenset[str] | None:
    """Labels of the positions that may release the starter; None where the design doesn't say."""
    if job.design is None or not job.design.start_known:
        return None
    return frozenset(p.label for p in job.design.positions.all() if p.releases_starter)


def jobs_exported(user: User) -> Iterator[Job]:
    """All of one's own, the oldest first."""
    kept = ("events", "job_sheets__checks__revision", "job_sheets__sheet")
    yield from jobs_of(user).select_related("design").prefetch_related(*kept).order_by("pk")
