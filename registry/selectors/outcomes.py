"""How jobs came out, by what the vehicle did: of so many units checked, in how many the switch was at fault.

Counted are closed jobs of accounts whose people gave the outcome to the registry and had checked the
unit, and counts that came with a package or from another registry.
Below `LEAST` nothing is known, and nothing is said.

Every verdict rests on these counts, so nobody moves them alone: colleagues of a workshop are one voice, a
voice counts for `MOST_A_VOICE` units of a design at most, in the proportion of all that it told, and whoever
sent nothing that fitted a month ago counts for none yet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum
from django.utils import timezone

from registry.bridge.shares import share_interval
from registry.models import Decision, Design, Job, OutcomeCounted, Sheet
from registry.models.base import own_origin
from registry.models.jobs import JobOutcome, JobUnit
from registry.selectors.standing import ASLEEP_AFTER, FITTING, NEW_FOR

LEAST = 10
MOST_A_VOICE = 4  # so that ten take three voices, as an agreed cell does


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


def _counted() -> QuerySet[Job]:
    aside = Decision.objects.filter(
        kind=Decision.Kind.SET_ASIDE_ACCOUNT, state=Decision.State.IN_FORCE
    ).values("target_uuid")
    jobs = Job.objects.filter(
        outcome_sent_at__isnull=False,
        closed_at__isnull=False,
        contributor__isnull=False,
        job_sheets__of=JobUnit.OLD,
    ).exclude(contributor__uuid__in=aside)
    imported = Q(contributor__import_name__isnull=False)
    return jobs.filter(imported | Exists(_vouching()))


def _vouching() -> QuerySet[Sheet]:
    """As `standing.of_standing`, by the day on which the outcome was given: later silence takes none away."""
    return Sheet.objects.filter(
        contributor=OuterRef("contributor"),
        created_at__lte=timezone.now() - NEW_FOR,
        created_at__gte=OuterRef("outcome_sent_at") - (ASLEEP_AFTER + NEW_FOR),
        withdrawn_at=None,
        finding__finding__in=FITTING,
    )


def voice_capped(checked: int, at_fault: int) -> OutcomeCount:
    """What one voice counts for.

    >>> voice_capped(3, 1), voice_capped(40, 30)
    (OutcomeCount(checked=3, at_fault=1), OutcomeCount(checked=4, at_fault=3))
    """
    counted = min(checked, MOST_A_VOICE)
    return OutcomeCount(counted, (at_fault * counted + checked // 2) // checked)


Voice = tuple[UUID | None, str, object]  # design, symptom, workshop or contributor


def _voices(jobs: QuerySet[Job]) -> dict[Voice, tuple[int, int]]:
    """(checked, at fault) of each voice by design and symptom, as told."""
    rows: Any = jobs.order_by().values_list("design__uuid", "symptom", "contributor__workshop", "contributor")
    counts = rows.annotate(
        checked=Count("pk", distinct=True),
        at_fault=Count("pk", distinct=True, filter=Q(outcome=JobOutcome.WENT)),
    )
    found: dict[Voice, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for design, symptom, workshop, contributor, checked, at_fault in counts:
        key = (design, symptom, ("alone", contributor) if workshop is None else workshop)
        found[key] = (found[key][0] + checked, found[key][1] + at_fault)
    return found


def _capped(jobs: QuerySet[Job], *, by_symptom: bool) -> dict[tuple[UUID | None, str], OutcomeCount]:
    """By design and symptom, or with "" of all its symptoms together."""
    told: dict[Voice, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for (design, symptom, voice), (checked, at_fault) in _voices(jobs).items():
        key = (design, symptom if by_symptom else "", voice)
        told[key] = (told[key][0] + checked, told[key][1] + at_fault)
    rows = [((design, symptom), voice_capped(*count)) for (design, symptom, _who), count in told.items()]
    return _summed((key, count.checked, count.at_fault) for key, count in rows)


def outcomes_for(design: Design | None, symptom: str | None) -> OutcomeCount:
    """The count of one design and symptom; None: of all designs, of all symptoms."""
    jobs, told = _of(design)
    if symptom is not None:
        jobs = jobs.filter(symptom=symptom)
    found = _capped(jobs, by_symptom=False).values()
    told = told.filter(symptom=symptom or "")
    brought = told.aggregate(checked=Sum("checked", default=0), at_fault=Sum("at_fault", default=0))
    return OutcomeCount(
        sum(count.checked for count in found) + brought["checked"],
        sum(count.at_fault for count in found) + brought["at_fault"],
    )


def outcomes_by_symptom(design: Design | None) -> dict[str, OutcomeCount]:
    """The counts of each symptom of which there is one, in two queries; None: of all designs."""
    jobs, told = _of(design)
    counts = _capped(jobs, by_symptom=True)
    found = [(symptom, count.checked, count.at_fault) for (_design, symptom), count in counts.items()]
    found += told.exclude(symptom="").values_list("symptom", "checked", "at_fault")
    return _summed(found)


def outcomes_public(design: Design | None) -> list[tuple[UUID, str, str, OutcomeCount]]:
    """(design, symptom or "" for all, registry, count) of what may be told: no count below `LEAST`."""
    jobs, told = _of(design)
    jobs = jobs.exclude(design=None)
    found = []
    for by_symptom in (True, False):
        for (of, symptom), count in _capped(jobs, by_symptom=by_symptom).items():
            found.append(((of, symptom, own_origin()), count.checked, count.at_fault))
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
