"""Back to the registry: only what its people give, and nothing of the vehicle."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from registry.errors import RegistryErrors
from registry.models import Design, Job, Sheet, User
from registry.permissions import LinkHolder
from registry.selectors.jobs import sheets_of_job
from registry.selectors.outcomes import fault_prior_for, outcomes_for
from registry.services.audit import chain_seal, published_chain
from registry.services.exports import export_tidy
from registry.services.jobs.sending import WHAT, job_send, job_send_back, sent_of
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import job_close, job_reopen
from tests.registry.outcomes_made import vouched
from tests.registry.pages.made import account
from tests.registry.services.jobs.made import started, walked

pytestmark = pytest.mark.django_db


def closed(by: User, design: Design, outcome: str = "went", **more: Any) -> Job:
    job = walked(started(by, design), by, **more)
    job_close(by=by, job=job, body={"outcome": outcome})
    job.refresh_from_db()
    return job


def test_the_new_units_sheet_counts_as_a_new_units(mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic, until="new_benched")
    job_send(by=mechanic, job=job, what="new_unit")
    job.refresh_from_db()
    version = Sheet.objects.get(unit=job.new_unit).versions.get()
    assert (version.purpose, version.held_good, version.distance_km) == ("known_good", "new", 0)
    assert job.unit_events.count() == 0  # it is not fitted yet
    walked(job, mechanic, until="fitted")
    assert job.unit_events.get().kind == "fitted"
    job_send(by=mechanic, job=job, what="new_unit")
    assert job.unit_events.filter(kind="fitted", unit=job.new_unit).count() == 1


def test_the_failed_unit_is_told_with_its_distance_once(mechanic: User, design: Design) -> None:
    job = closed(mechanic, design)
    job_send(by=mechanic, job=job, what="old_unit")
    job_send(by=mechanic, job=job, what="old_unit")
    event = job.unit_events.get(unit=job.old_unit)
    assert (event.kind, event.distance_km, event.sheet) == ("failed", 80000, sheets_of_job(job)["old"].sheet)
    job_send_back(by=mechanic, job=job, what="old_unit")
    assert not job.unit_events.filter(unit=job.old_unit, withdrawn_at=None).exists()
    assert "old_unit" not in sent_of(job, sheets_of_job(job))


def test_a_good_unit_that_was_not_at_fault_is_told_as_good(mechanic: User, design: Design) -> None:
    job = closed(mechanic, design, "something_else", old={})
    job_send(by=mechanic, job=job, what="old_unit")
    assert job.unit_events.get(unit=job.old_unit).kind == "good"


def test_what_became_of_a_suspect_that_was_not_at_fault_is_not_known(mechanic: User, design: Design) -> None:
    job = closed(mechanic, design, "stayed")
    with pytest.raises(RegistryErrors) as refused:
        job_send(by=mechanic, job=job, what="old_unit")
    assert [error.code for error in refused.value] == ["nothing_to_send"]


@pytest.mark.parametrize("what", WHAT)
def test_nothing_is_given_before_it_is_there(mechanic: User, design: Design, what: str) -> None:
    job = started(mechanic, design)
    with pytest.raises(RegistryErrors) as refused:
        job_send(by=mechanic, job=job, what=what)
    assert [error.code for error in refused.value] == ["nothing_to_send"]


@pytest.mark.parametrize("what", WHAT)
def test_only_the_account_gives(mechanic: User, design: Design, what: str) -> None:
    job = closed(mechanic, design)
    with pytest.raises(PermissionDenied):
        job_send(by=account("other", "Ferry Slip"), job=job, what=what)
    made = job_start(by=None, body={"symptom": "silent"})
    with pytest.raises(PermissionDenied):
        job_send(by=LinkHolder(made.job.link_digest or ""), job=made.job, what=what)  # type: ignore[arg-type]


def test_a_job_whose_outcome_was_given_is_opened_once_it_is_taken_back(
    mechanic: User, design: Design
) -> None:
    job = closed(mechanic, design)
    job_send(by=mechanic, job=job, what="outcome")
    with pytest.raises(RegistryErrors) as refused:
        job_reopen(by=mechanic, job=job)
    assert [error.code for error in refused.value] == ["job_sent"]
    job_send_back(by=mechanic, job=job, what="outcome")
    job_reopen(by=mechanic, job=job)
    job.refresh_from_db()
    assert (job.outcome, job.closed_at) == ("", None)


def test_a_sheet_that_was_taken_back_is_given_again(mechanic: User, design: Design) -> None:
    job = closed(mechanic, design)
    job_send(by=mechanic, job=job, what="new_unit")
    job_send_back(by=mechanic, job=job, what="new_unit")
    kept = sheets_of_job(job)["new"].sheet
    assert kept is not None and kept.withdrawn_at is not None
    job_send(by=mechanic, job=job, what="new_unit")
    assert sent_of(job, sheets_of_job(job)) == {"new_unit"}


def test_no_word_of_the_vehicle_leaves_the_job(mechanic: User, design: Design) -> None:
    job = closed(mechanic, design)
    for what in WHAT:
        job_send(by=mechanic, job=job, what=what)
    chain_seal()
    design.refresh_from_db()
    texts = ["".join(export_tidy()), json.dumps(list(published_chain()))]
    texts += [f"{sheet.name} {sheet.unit.key}" for sheet in Sheet.objects.all()]
    assert not [text for text in texts if "Sweeper 7" in text]


def test_outcomes_count_once_they_are_given(mechanic: User, design: Design) -> None:
    job = closed(mechanic, design)
    vouched(mechanic)
    assert outcomes_for(design, "silent").checked == 0
    job_send(by=mechanic, job=job, what="outcome")
    other = closed(mechanic, design, "something_else")
    job_send(by=mechanic, job=other, what="outcome")
    count = outcomes_for(design, "silent")
    assert (count.checked, count.at_fault, count.known) == (2, 1, False)
    assert outcomes_for(design, "display").checked == 0 and outcomes_for(None, None).checked == 2
    assert fault_prior_for(design, "silent") is None
    assert job.contributor is not None
    sheet = sheets_of_job(job)["old"]
    others = [vouched(account(f"other{n}", f"Yard {n}")) for n in range(2)]
    for n in range(8):
        more = Job.objects.create(
            contributor=others[n % 2], symptom="silent", design=design, outcome="went",
            closed_at=job.closed_at, outcome_sent_at=job.closed_at,
        )  # fmt: skip
        if n < 7:
            more.job_sheets.create(of="old", body=sheet.body)  # an outcome without a check does not count
    assert fault_prior_for(design, "silent") is None
    more.job_sheets.create(of="old", body=sheet.body)
    assert fault_prior_for(design, "silent") == (9, 10)
    assert fault_prior_for(design, "display") == (9, 10)  # of the design, while the symptom has too few
