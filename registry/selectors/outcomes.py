"""How jobs came out, by what the vehicle did: of so many units checked, in how many the switch was at fault.

Counted are closed jobs of accounts whose people gave the outcome to the registry and had checked the unit.
Below `LEAST` nothing is known, and nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet

from registry.bridge.shares import share_interval
from registry.models import Design, Job
from registry.models.jobs import JobOutcome, JobUnit

LEAST = 10


@dataclass(frozen=True)
class OutcomeCount:
    """checked: units with an outcome; at_fault: those where a new unit made the symptom go."""

    checked: int
    at_fault: int

    @property
    def known(self) -> bool:
        return self.checked >= LEAST

    def interval(self) -> tuple[float, float]:
        """Two-sided 95 % interval of the share at fault."""
        return share_interval(self.at_fault, self.checked)


_COUNTS = {
    "checked": Count("pk", distinct=True),
    "at_fault": Count("pk", distinct=True, filter=Q(outcome=JobOutcome.WENT)),
}


def _counted() -> QuerySet[Job]:
    return Job.objects.filter(
        outcome_sent_at__isnull=False,
        closed_at__isnull=False,
        contributor__isnull=False,
        job_sheets__of=JobUnit.OLD,
    )


def outcomes_for(design: Design | None, symptom: str | None) -> OutcomeCount:
    """The count of one design and symptom; None: of all designs, of all symptoms."""
    jobs = _counted()
    if design is not None:
        jobs = jobs.filter(design=design)
    if symptom is not None:
        jobs = jobs.filter(symptom=symptom)
    found = jobs.aggregate(**_COUNTS)
    return OutcomeCount(found["checked"], found["at_fault"])


def outcomes_by_symptom(design: Design | None) -> dict[str, OutcomeCount]:
    """The counts of each symptom of which there is one, in one query; None: of all designs."""
    jobs = _counted()
    if design is not None:
        jobs = jobs.filter(design=design)
    rows: Any = jobs.order_by().values("symptom").annotate(**_COUNTS)
    return {row["symptom"]: OutcomeCount(row["checked"], row["at_fault"]) for row in rows}


def fault_prior_for(design: Design, symptom: str | None = None) -> tuple[int, int] | None:
    """(at fault, checked) for the prior of the check; None while fewer than ten outcomes are known."""
    count = outcomes_for(design, symptom)
    if not count.known:
        count = outcomes_for(design, None)
    return (count.at_fault, count.checked) if count.known else None
