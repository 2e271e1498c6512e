"""How jobs came out, by what the vehicle did: of so many units checked, in how many the switch was at fault.

Counted are closed jobs of accounts whose people gave the outcome to the registry and had checked the
unit, and counts that came with a package or from another registry.
Below `LEAST` nothing is known, and nothing is said.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet, Sum

from registry.bridge.shares import share_interval
from registry.models import Design, Job, OutcomeCounted
from registry.models.base import own_origin
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
    jobs, told = _of(design)
    if symptom is not None:
        jobs = jobs.filter(symptom=symptom)
    found = jobs.aggregate(**_COUNTS)
    told = told.filter(symptom=symptom or "")
    brought = told.aggregate(checked=Sum("checked", default=0), at_fault=Sum("at_fault", default=0))
    return OutcomeCount(
        found["checked"] + brought["checked"],
        found["at_fault"] + brought["at_fault"],
    )


def outcomes_by_symptom(design: Design | None) -> dict[str, OutcomeCount]:
    """The counts of each symptom of which there is one, in two queries; None: of all designs."""
    jobs, told = _of(design)
    rows: Any = jobs.order_by().values("symptom").annotate(**_COUNTS)
    found = [(row["symptom"], row["checked"], row["at_fault"]) for row in rows]
    found += told.exclude(symptom="").values_list("symptom", "checked", "at_fault")
    return _summed(found)


def outcomes_public(design: Design | None) -> list[tuple[UUID, str, str, OutcomeCount]]:
    """(design, symptom or "" for all, registry, count) of what may be told: no count below `LEAST`."""
    jobs, told = _of(design)
    rows: Any = jobs.order_by().values("design__uuid", "symptom").annotate(**_COUNTS)
    found = []
    for row in rows.exclude(design=None):
        for symptom in (row["symptom"], ""):
            key = (row["design__uuid"], symptom, own_origin())
            found.append((key, row["checked"], row["at_fault"]))
    for of, symptom, origin, checked, at_fault in told.values_list(
        "design__uuid", "symptom", "origin", "checked", "at_fault"
    ):
        found.append(((of, symptom, origin), checked, at_fault))
    counts = _summed(found)
    return [
        (*key, counts[key])
        for key in sorted(counts, key=lambda key: (str(key[0]), *key[1:]))
        if counts[key].known
    ]


def _of(design: Design | None) -> tuple[QuerySet[Job], QuerySet[OutcomeCounted]]:
    """Jobs here, and counts that came from elsewhere."""
    jobs, told = _counted(), OutcomeCounted.objects.all()
    return (jobs, told) if design is None else (jobs.filter(design=design), told.filter(design=design))


def _summed(rows: Iterable[tuple[Any, int, int]]) -> dict[Any, OutcomeCount]:
    found: dict[Any, OutcomeCount] = {}
    for key, checked, at_fault in rows:
        before = found.get(key, OutcomeCount(0, 0))
        found[key] = OutcomeCount(before.checked + checked, before.at_fault + at_fault)
    return found


def fault_prior_for(design: Design, symptom: str | None = None) -> tuple[int, int] | None:
    """(at fault, checked) for the prior of the check; None while fewer than ten outcomes are known."""
    count = outcomes_for(design, symptom)
    if not count.known and symptom is not None:
        count = outcomes_for(design, None)
    return fault_prior_of(count)


def fault_prior_of(count: OutcomeCount) -> tuple[int, int] | None:
    """The same of outcomes that were counted already."""
    return (count.at_fault, count.checked) if count.known else None
