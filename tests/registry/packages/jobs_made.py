"""What is public of jobs around a design: facts, units over time, outcomes; beside what must not get out."""

from __future__ import annotations

from django.utils import timezone

from registry.models import Design, FleetReport, Job, JobSheet, Sheet, Unit, User, Workshop
from registry.models.jobs import JobOutcome, JobSymptom, JobUnit
from registry.services.accounts import contributor_of
from registry.services.decisions import decide
from registry.services.disputes import dispute_open
from registry.services.facts import fact_answer, fact_take_back
from registry.services.lives.unit_events import unit_event_take_back, unit_event_tell
from tests.registry.moderation.made import account, made_design
from tests.registry.outcomes_made import vouched

PRIVATE_OF_JOBS = ("sweeper 14", "under the tarpaulin", "Quarry Road depot", "2024-02-03")


def made_jobs(design: Design, sheets: list[Sheet], people: list[User]) -> None:
    """Facts of two designs, one disputed, one answer set aside, one taken back; a fleet; ten outcomes."""
    other = made_design(people[0], "Another selector")
    for person in people[:5]:
        said(person, design, "rest_in_place", answer="yes", note=PRIVATE_OF_JOBS[1])
        said(person, other, "gasket", answer="none")
    wrong = said(people[5], design, "rest_in_place", answer="no")
    said(people[0], design, "fluid", answer="=Mineral  Oil")
    said(people[1], design, "fluid", answer="=mineral oil")
    for litres, person in enumerate(people[:3], 2):
        said(person, design, "fluid_litres", quantity=litres / 2)
    doubted = said(people[2], design, "tool", subject="Socket 25", answer="yes")
    fact_take_back(by=people[6], fact=said(people[6], design, "adjusted", answer="no").fact)
    desk = account("second moderator", moderator=True)
    decide(
        by=desk, kind="set_aside", target_kind="fact", target_uuid=wrong.fact.uuid, reason="Not this one.",
        payload={"answer": str(wrong.uuid)},
    )  # fmt: skip
    dispute_open(by=people[4], target_kind="fact", target_uuid=doubted.fact.uuid, reason="Not needed.")
    depot = Workshop.objects.create(name=PRIVATE_OF_JOBS[2])
    contributor = contributor_of(people[1])
    contributor.workshop = depot
    contributor.save()
    FleetReport.objects.create(workshop=depot, units=40, confirmed_at=timezone.now())
    unread = Unit.objects.create(contributor=contributor, design=design, key="never read")
    told(people[1], unread, "failed", 90_000.5, good_km=70_000.0, happened_on=PRIVATE_OF_JOBS[3])
    told(people[0], sheets[0].unit, "good", 40_000.0)
    unit_event_take_back(by=people[3], event=told(people[3], sheets[3].unit, "failed", 10.0))
    known = [vouched(person) for person in people[1:4]]
    for n in range(10):
        job = Job.objects.create(
            contributor=known[n % 3], design=design, vehicle_label=PRIVATE_OF_JOBS[0],
            symptom=JobSymptom.SILENT, outcome=JobOutcome.WENT if n < 7 else JobOutcome.STAYED,
            outcome_sent_at=timezone.now(), closed_at=timezone.now(),
        )  # fmt: skip
        JobSheet.objects.create(job=job, of=JobUnit.OLD, body={})


def said(by: User, design: Design, question: str, **more: object):
    body = {"question": question, "source": "did_it", **more}
    return fact_answer(by=by, design=design, body=body)


def told(by: User, unit: Unit, kind: str, km: float, **more: object):
    return unit_event_tell(by=by, unit=unit, body={"kind": kind, "distance_km": km, **more})
