"""What a job's outcome says moves every verdict: nobody moves it alone, none who is new, none set aside."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import Design, Job, Sheet, User
from registry.selectors.check_facts import CheckFacts
from registry.selectors.outcomes import MOST_A_VOICE, OutcomeCount, outcomes_for, outcomes_public
from registry.services.accounts import contributor_of, workshop_join
from registry.services.charts import chart_refresh
from registry.services.decisions import decide, undo
from registry.services.jobs.sending import job_send
from registry.services.jobs.starting import job_start
from registry.services.sheets import sheet_submit
from tests.registry.moderation.made import account, pattern, sheet_json
from tests.registry.operations.campaigns import agreed_design, newcomers
from tests.registry.outcomes_made import finished

pytestmark = pytest.mark.django_db


@pytest.fixture
def design() -> Design:
    """Seven workshops read it well, forty days ago."""
    design = agreed_design(14, 7)
    Sheet.objects.update(created_at=timezone.now() - timedelta(days=40))
    return design


@pytest.fixture
def honest(design: Design) -> list[User]:
    return list(User.objects.filter(email__startswith="reader").order_by("pk"))


def counted(design: Design) -> OutcomeCount:
    """As pages and programs count, and as a check does."""
    count = outcomes_for(design, None)
    facts = CheckFacts()
    assert facts.outcomes(facts.design(str(design.uuid))) in (count, None)
    return count


def test_one_workshop_counts_for_four_whatever_it_tells(design: Design, honest: list[User]) -> None:
    finished(honest[:4], design, "silent", 12, 3)
    assert counted(design) == OutcomeCount(12, 3)
    for person in honest[5:]:
        workshop_join(by=person, name="one yard")
    finished(honest[5:], design, "silent", 30, 30)
    finished(honest[5:], design, "display", 30, 30)
    assert counted(design) == OutcomeCount(12 + MOST_A_VOICE, 3 + MOST_A_VOICE)
    told = {symptom: count for _design, symptom, _origin, count in outcomes_public(design)}
    assert told == {"silent": OutcomeCount(16, 7), "": OutcomeCount(16, 7)}


def test_nobody_tells_what_is_usual_alone(design: Design, honest: list[User]) -> None:
    finished(honest[:2], design, "silent", 40, 40)
    assert not counted(design).known


def test_accounts_that_sent_nothing_that_fits_count_for_nothing_yet(design: Design) -> None:
    liars = newcomers(5)
    finished(liars, design, "silent", 20, 20)
    assert counted(design) == OutcomeCount(0, 0)
    for liar in liars:
        sheet_submit(by=liar, body=sheet_json(design, pattern()))
    chart_refresh(design_id=design.pk)
    assert counted(design) == OutcomeCount(0, 0)
    Sheet.objects.update(created_at=timezone.now() - timedelta(days=31))
    assert counted(design) == OutcomeCount(20, 20)  # patience buys four units an account


def test_who_slept_for_half_a_year_is_as_new(design: Design, honest: list[User]) -> None:
    finished(honest[:3], design, "silent", 12, 6)
    Sheet.objects.update(created_at=timezone.now() - timedelta(days=211))
    assert counted(design) == OutcomeCount(0, 0)
    Job.objects.update(outcome_sent_at=timezone.now() - timedelta(days=30))
    assert counted(design) == OutcomeCount(12, 6)  # told while they were known


def test_outcomes_of_an_account_go_with_its_sheets_and_come_back(design: Design, honest: list[User]) -> None:
    finished(honest[:3], design, "silent", 12, 6)
    desk = account("desk", moderator=True)
    act = decide(by=desk, kind="set_aside_account", target_kind="account",
                 target_uuid=contributor_of(honest[0]).uuid, reason="Made up.")  # fmt: skip
    assert counted(design) == OutcomeCount(8, 4)
    undo(by=desk, decision=act, reason="They were real.")
    assert counted(design) == OutcomeCount(12, 6)


def test_a_day_has_so_many_jobs_and_outcomes(design: Design, settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 3
    (liar,) = newcomers(1)
    for job in finished([liar], design, "silent", 2, 2):
        Job.objects.filter(pk=job.pk).update(outcome_sent_at=None)
    sheet_submit(by=liar, body=sheet_json(design, pattern()))
    sheet_submit(by=liar, body=sheet_json(design, pattern()))
    body = {
        "symptom": "silent",
        "design": str(design.uuid),
        "client_id": "6a1f5c1e-0b6e-4d0e-8b0a-6d3f6c0e9a11",
    }
    begun = job_start(by=liar, body=body).job
    assert job_start(by=liar, body=body).job == begun  # a replay is no new job
    with pytest.raises(RegistryErrors, match="may begin 3 jobs a day"):
        job_start(by=liar, body={"symptom": "silent"})
    first, second = Job.objects.exclude(pk=begun.pk).order_by("pk")
    job_send(by=liar, job=first, what="outcome")
    with pytest.raises(RegistryErrors) as refused:
        job_send(by=liar, job=second, what="outcome")
    assert [error.code for error in refused.value] == ["allowance_used"]
    with pytest.raises(RegistryErrors):
        sheet_submit(by=liar, body=sheet_json(design, pattern()))
