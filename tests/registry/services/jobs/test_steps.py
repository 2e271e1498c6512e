"""A job from symptom to outcome: every deed an event, no step lost, nothing rewritten."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from registry.errors import RegistryErrors
from registry.models import Design, Job, JobEvent, Sheet, User
from registry.models.jobs import JobStep
from registry.permissions import LinkHolder
from registry.selectors.jobs import job_for, job_of_link, next_step, sheets_of_job, step_states
from registry.services.accounts import account_erase
from registry.services.jobs.benching import job_recheck
from registry.services.jobs.links import job_take_over, link_make, link_withdraw
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import job_close, job_reopen, step_do, step_skip
from registry.services.sheets import sheet_submit
from tests.registry.pages.made import account, sheet_json
from tests.registry.services.jobs.made import bench_body, checked, started, tries, walked

pytestmark = pytest.mark.django_db


def codes(refused: Any) -> set[str]:
    return {error.code for error in refused.value}


def test_steps_are_done_in_turn_until_the_job_is_closed(mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic)
    assert job.verified_at is not None and not job.stopped and job.old_unit_km == 80000
    job_close(by=mechanic, job=job, body={"outcome": "went"})
    job.refresh_from_db()
    assert (job.outcome, job.closed_at is not None) == ("went", True)
    states = step_states(job.events.all())
    assert list(states) == list(JobStep.values) and all(state.act == "done" for state in states.values())
    assert [event.number for event in job.events.all()] == list(range(1, 10))


def test_open_steps_are_named_when_a_job_is_closed(mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    step_skip(by=mechanic, job=job, step="prepared", reason="done by the depot")
    with pytest.raises(RegistryErrors) as refused:
        job_close(by=mechanic, job=job, body={"outcome": "something_else"})
    assert [error.code for error in refused.value] == ["step_open"] * 6
    assert "prepared" not in str(refused.value) and "fitted" in str(refused.value)


def test_a_step_is_skipped_with_a_reason_only(mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    with pytest.raises(RegistryErrors) as refused:
        step_skip(by=mechanic, job=job, step="removed", reason="  ")
    assert codes(refused) == {"value_missing"}
    with pytest.raises(RegistryErrors) as refused:
        step_skip(by=mechanic, job=job, step="symptom", reason="no time")
    assert codes(refused) == {"step_needed"}


def test_a_correction_is_a_new_event_and_the_old_one_stays(mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    step_do(by=mechanic, job=job, step="symptom", body={"vehicle": "Sweeper 8"})
    job.refresh_from_db()
    first, second = job.events.all()
    assert second.corrects == first
    assert (first.private["vehicle"], second.private["vehicle"]) == ("Sweeper 7", "Sweeper 8")
    assert (job.vehicle_label, job.symptom, job.design) == ("Sweeper 8", "silent", design)
    for change in ({"act": "skipped"}, {"data": {"symptom": "display"}}, {"number": 9}):
        with pytest.raises(IntegrityError), transaction.atomic():
            JobEvent.objects.filter(pk=first.pk).update(**change)
    with pytest.raises(IntegrityError), transaction.atomic():
        first.delete()


def test_every_fault_of_a_beginning_is_named_at_once(mechanic: User) -> None:
    with pytest.raises(RegistryErrors) as refused:
        job_start(by=mechanic, body={"design": "no such", "distance_km": "far", "vehicle": "x" * 130})
    assert {error.field for error in refused.value} == {"/symptom", "/design", "/distance_km", "/vehicle"}
    assert not Job.objects.exists()


def test_the_same_beginning_sent_twice_is_one_job(mechanic: User) -> None:
    body = {"symptom": "display", "client_id": str(uuid.uuid4())}
    first, again = job_start(by=mechanic, body=body), job_start(by=mechanic, body=body)
    assert again.job == first.job and not again.new


def test_the_suspects_sheet_is_a_suspects_sheet_and_names_no_vehicle(mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic, until="suspect_benched")
    sheet = Sheet.objects.get(unit=job.old_unit)
    version = sheet.versions.get()
    assert (version.purpose, version.held_good, version.distance_km) == ("suspect", "no", 80000)
    assert "Sweeper" not in f"{sheet.name} {sheet.unit.key} {version.note}"
    check = sheets_of_job(job)["old"].checks.get()
    assert (check.verdict, check.revision.number) == ("faulty", design.current_chart.revision.number)
    assert check.result["causes"]


def test_a_check_is_held_against_the_revised_chart_once(
    mechanic: User, design: Design, django_capture_on_commit_callbacks: Any
) -> None:
    job = walked(started(mechanic, design), mechanic, until="suspect_benched")
    assert job_recheck(by=mechanic, job=job).pk == sheets_of_job(job)["old"].checks.get().pk  # type: ignore[union-attr]
    before = design.current_chart.revision_id
    with django_capture_on_commit_callbacks(execute=True):
        sheet_submit(by=account("sixth", "Yard 6"), body=sheet_json(design, "sixth"))
    design = Design.objects.get(pk=design.pk)
    assert design.current_chart.revision_id != before
    job_recheck(by=mechanic, job=job)
    checks = sheets_of_job(job)["old"].checks.all()
    assert [check.revision_id for check in checks] == [before, design.current_chart.revision_id]


def test_the_new_units_sheet_stays_with_the_job(mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic, until="new_benched")
    kept = sheets_of_job(job)["new"]
    assert kept.sheet is None and kept.body["held_good"] == "new" and kept.body["distance_km"] == 0.0
    assert kept.checks.get().verdict == "good"


def test_a_sheet_that_arrives_twice_is_kept_once(mechanic: User, design: Design) -> None:
    job, body = started(mechanic, design), {"sheet": bench_body()}
    first = step_do(by=mechanic, job=job, step="new_benched", body=body)
    assert step_do(by=mechanic, job=job, step="new_benched", body=body) == first
    assert job.job_sheets.count() == 1


def test_a_unit_of_another_design_is_another_job(mechanic: User, design: Design) -> None:
    from tests.registry.pages.made import made_design

    job, other = started(mechanic, design), made_design(mechanic, "Another")
    with pytest.raises(RegistryErrors) as refused:
        step_do(
            by=mechanic,
            job=job,
            step="suspect_benched",
            body={"sheet": {**bench_body(), "design": other.name}},
        )
    assert codes(refused) == {"design_settled"}


def test_a_sheet_settles_a_design_that_was_not_known(mechanic: User, design: Design) -> None:
    job = started(mechanic, None)
    step_do(
        by=mechanic,
        job=job,
        step="suspect_benched",
        body={"sheet": {**bench_body(), "design": str(design.uuid)}},
    )
    job.refresh_from_db()
    assert job.design == design


@pytest.mark.parametrize("position", ["R", "D", "L"])
def test_a_start_in_any_other_position_stops_the_job(mechanic: User, design: Design, position: str) -> None:
    job = walked(started(mechanic, design), mechanic, until="fitted")
    event = step_do(by=mechanic, job=job, step="verified", body=checked(**{position: "turned"}))
    job.refresh_from_db()
    assert event.act == "stopped" and event.data["starts_elsewhere"] == [position]
    assert job.stopped and job.verified_at is None
    with pytest.raises(RegistryErrors) as refused:
        step_skip(by=mechanic, job=job, step="verified", reason="in a hurry")
    assert codes(refused) == {"start_elsewhere"}
    with pytest.raises(RegistryErrors) as refused:
        job_close(by=mechanic, job=job, body={"outcome": "went"})
    assert codes(refused) == {"step_open"}
    step_do(by=mechanic, job=job, step="verified", body=checked())
    job.refresh_from_db()
    assert not job.stopped and job.verified_at is not None


def test_a_start_elsewhere_is_taken_whatever_else_is_missing(mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic, until="fitted")
    body = {"positions": [{"position": "R", "starter": "turned"}]}
    assert step_do(by=mechanic, job=job, step="verified", body=body).act == "stopped"
    half = {"ready": ["seat"], "positions": tries()[:2]}
    with pytest.raises(RegistryErrors) as refused:
        step_do(by=mechanic, job=job, step="verified", body=half)
    assert codes(refused) == {"not_ready", "position_untried", "value_missing"}
    job.refresh_from_db()
    assert job.stopped


@pytest.mark.parametrize(
    "body",
    [
        checked(N="silent"),
        {**checked(), "positions": tries(R="no")},
        {**checked(), "codes": "stored"},
    ],
    ids=["silent in N", "display wrong in R", "a code is stored"],
)
def test_a_check_that_did_not_pass_leaves_the_step_open(
    mechanic: User, design: Design, body: dict[str, Any]
) -> None:
    job = walked(started(mechanic, design), mechanic, until="fitted")
    assert step_do(by=mechanic, job=job, step="verified", body=body).act == "tried"
    job.refresh_from_db()
    assert job.verified_at is None and not job.stopped
    assert next_step(step_states(job.events.all())) == "verified"


def test_start_positions_that_a_design_does_not_name_come_from_the_makers_procedure(
    mechanic: User, design: Design
) -> None:
    Design.objects.filter(pk=design.pk).update(start_known=False)
    job = walked(started(mechanic, design), mechanic, until="fitted")
    with pytest.raises(RegistryErrors) as refused:
        step_do(by=mechanic, job=job, step="verified", body=checked())
    assert "value_missing" in codes(refused)
    body = {**checked(), "start_positions": ["P", "N"]}
    assert step_do(by=mechanic, job=job, step="verified", body=body).act == "done"


def test_nothing_is_verified_before_it_is_fitted(mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    with pytest.raises(RegistryErrors) as refused:
        step_do(by=mechanic, job=job, step="verified", body=checked())
    assert codes(refused) == {"step_open"}


def test_an_outcome_of_a_new_unit_needs_one_fitted(mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    for step in list(JobStep.values)[1:-1]:
        step_skip(by=mechanic, job=job, step=step, reason="the battery was flat")
    with pytest.raises(RegistryErrors) as refused:
        job_close(by=mechanic, job=job, body={"outcome": "went"})
    assert codes(refused) == {"nothing_fitted"}
    job_close(by=mechanic, job=job, body={"outcome": "something_else"})
    with pytest.raises(RegistryErrors) as refused:
        step_do(by=mechanic, job=job, step="fitted", body={})
    assert codes(refused) == {"job_closed"}
    job_reopen(by=mechanic, job=job)
    step_do(by=mechanic, job=job, step="fitted", body={})


def test_only_its_own_people_work_on_a_job(mechanic: User, design: Design) -> None:
    job, other = started(mechanic, design), account("other", "Ferry Slip")
    for by in (other, None, LinkHolder("0" * 64)):
        assert job_for(by, job.uuid) is None
        with pytest.raises(PermissionDenied):
            step_do(by=by, job=job, step="prepared", body={})
    assert job_for(mechanic, job.uuid) == job


def test_a_link_is_kept_as_a_digest_and_withdrawn_at_once(design: Design) -> None:
    made = job_start(by=None, body={"symptom": "silent", "design": design.name})
    job, holder = made.job, made.holder
    assert holder is not None and made.token not in (job.link_digest or "")
    assert job_of_link(made.token) == job and job_for(holder, job.uuid) == job
    walked(job, holder, until="new_benched")
    assert not Sheet.objects.filter(
        unit__key__contains=job.uuid.hex[:8]
    ).exists()  # nobody's account: not sent
    again = link_make(by=holder, job=job)
    assert job_of_link(made.token) is None and job_for(holder, job.uuid) is None
    job.refresh_from_db()
    link_withdraw(by=LinkHolder(job.link_digest or ""), job=job)
    assert job_of_link(again) is None


def test_a_job_of_a_link_goes_into_the_account_that_takes_it(mechanic: User, design: Design) -> None:
    made = job_start(by=None, body={"symptom": "silent", "design": design.name})
    job = made.job
    walked(job, made.holder, until="suspect_benched")
    job_take_over(by=LinkHolder(job.link_digest or "", mechanic), job=job)
    job.refresh_from_db()
    assert job_for(mechanic, job.uuid) == job
    assert sheets_of_job(job)["old"].sheet is not None
    with pytest.raises(PermissionDenied):
        job_take_over(by=LinkHolder(job.link_digest or "", account("late")), job=job)


def test_erasure_leaves_no_word_of_the_vehicle(mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design, note="ask Mara"), mechanic)
    link_make(by=mechanic, job=job)
    account_erase(by=mechanic)
    job.refresh_from_db()
    assert (job.vehicle_label, job.link_digest) == ("", None)
    assert all(event.private == {} and event.made_by is None for event in job.events.all())
    assert not job.pictures.exists()
    assert job.symptom == "silent" and job.design == design
