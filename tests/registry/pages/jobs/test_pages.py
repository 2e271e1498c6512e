"""The pages of a job: nothing typed twice, nothing of it for anybody else."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.models import Design, Job, Sheet, User
from registry.models.jobs import JobStep
from registry.pages.before_pulling import ORDER, STEPS
from registry.services.jobs.benching import unit_key
from registry.services.jobs.step_body import RULED_OUT_CHECKS
from registry.services.jobs.steps import job_close
from tests.registry.pages.jobs.made import grid, tried
from tests.registry.pages.made import CLOSED, PINS, reading_of
from tests.registry.services.jobs.made import FAULT, started, walked

pytestmark = pytest.mark.django_db


def test_the_checks_of_the_service_are_those_of_the_page() -> None:
    assert {name: len(step.outcomes) for name, step in STEPS.items()} == RULED_OUT_CHECKS
    assert set(ORDER) == set(Job.Symptom.values)


def test_a_check_is_kept_as_a_job(browser: Client, mechanic: User, design: Design) -> None:
    at = f"/designs/{design.uuid}/check/"
    shown = browser.post(at, {"act": "compare", "read_at": "bench", **grid(**FAULT)}).content.decode()
    keep_id = re.search(r'name="keep_id" value="([^"]+)"', shown)
    assert keep_id and 'form="bench"' in shown
    fields = {"act": "keep", "keep_id": keep_id[1], "read_at": "bench", **grid(**FAULT)}
    refused = browser.post(at, fields)
    assert (
        refused.status_code == 400
        and not Job.objects.exists()
        and not Sheet.objects.filter(contributor__user=mechanic).exists()
    )
    assert "What does the vehicle do?" in refused.content.decode()
    fields |= {
        "symptom": "silent",
        "vehicle": "Sweeper 7",
        "vehicle_distance": "74565",
        "vehicle_distance_unit": "mi",
        "measured_it_myself": "on",
    }
    answer = browser.post(at, fields)
    job = Job.objects.get()
    assert answer.headers["Location"] == f"/jobs/{job.uuid}/"
    assert (job.vehicle_label, job.symptom, job.design, job.distance_km) == (
        "Sweeper 7",
        "silent",
        design,
        120000.735,
    )
    assert Sheet.objects.get(contributor__user=mechanic).unit == job.old_unit
    assert browser.post(at, fields).headers["Location"] == f"/jobs/{job.uuid}/"
    assert Job.objects.count() == 1 and job.job_sheets.count() == 1
    card = browser.get(f"/jobs/{job.uuid}/").content.decode()
    assert "Faulty" in card and "Against revision 1" in card


def test_a_start_elsewhere_is_a_stop_sign_on_the_page(
    browser: Client, mechanic: User, design: Design
) -> None:
    job = walked(started(mechanic, design), mechanic, until="fitted")
    at = f"/jobs/{job.uuid}/steps/verified/"
    assert "must stay silent" in browser.get(at).content.decode()
    answer = browser.post(at, {"act": "do", **tried(design, R="turned")}, follow=True).content.decode()
    assert "STOP. Don" in answer and "find out why" in answer and "Skip this step" not in answer
    card = browser.get(f"/jobs/{job.uuid}/").content.decode()
    assert "STOP. Don" in card and "The starter turned in R." in card
    refused = browser.post(at, {"act": "skip", "why": "not_needed"})
    assert refused.status_code == 400
    browser.post(at, {"act": "do", **tried(design)})
    job.refresh_from_db()
    assert job.verified_at is not None and not job.stopped


def test_what_is_missing_is_named_and_what_was_ticked_stays(
    browser: Client, mechanic: User, design: Design
) -> None:
    job = walked(started(mechanic, design), mechanic, until="fitted")
    fields = tried(design)
    del fields["s-3"], fields["ready"]
    answer = browser.post(f"/jobs/{job.uuid}/steps/verified/", {"act": "do", **fields})
    text = answer.content.decode()
    assert answer.status_code == 400 and "Not all was tried: N" in text
    assert text.count("checked") >= 2 * 5 + 4


def test_forms_open_with_what_the_job_knows(browser: Client, mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    removed = browser.get(f"/jobs/{job.uuid}/steps/removed/").content.decode()
    assert 'name="distance" value="120000"' in removed
    browser.post(f"/jobs/{job.uuid}/steps/removed/", {"act": "do", "distance": "120020"})
    assert 'value="120020"' in browser.get(f"/jobs/{job.uuid}/steps/fitted/").content.decode()
    fields = {"act": "keep", "measured_it_myself": "on", "read_at": "bench", "lead_ohm": "0.3"}
    browser.post(f"/designs/{design.uuid}/check/", {**fields, "job": str(job.uuid), **grid(**FAULT)})
    bench = browser.get(f"/designs/{design.uuid}/bench/?job={job.uuid}").content.decode()
    assert 'name="lead_ohm" value="0.3"' in bench
    assert (
        f'name="unit_key" value="{unit_key(job, "new")}"' in bench and 'name="held_good" value="new"' in bench
    )
    again = browser.get(f"/designs/{design.uuid}/check/?job={job.uuid}").content.decode()
    assert 'id="r-3-5-1-1-0" value="OL"' in again


def test_an_unknown_switch_is_found_by_its_readings_which_go_on(
    browser: Client, mechanic: User, design: Design
) -> None:
    job = started(mechanic, None)
    table = "   b c d e f\n" + "\n".join(
        f"{position} " + " ".join(reading_of(position, pin) for pin in PINS[1:]) for position in CLOSED
    )
    at = f"/jobs/{job.uuid}/identify/"
    found = browser.post(at, {"table": table, "against": "a"}).content.decode()
    assert design.name in found
    pins = re.search(r'name="pins" value="([^"]*)"', found)
    assert pins
    fields = {"act": "settle", "design": str(design.uuid), "table": table, "against": "a"}
    answer = browser.post(at, {**fields, "pins": pins[1].replace("&quot;", '"')})
    job.refresh_from_db()
    assert job.design == design
    sheet = browser.get(answer.headers["Location"]).content.decode()
    for name, reading in grid().items():
        assert f'id="{name}" value="{reading}"' in sheet


def test_three_things_go_back_in_two_taps_each(browser: Client, mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic)
    job_close(by=mechanic, job=job, body={"outcome": "went"})
    for what in ("new_unit", "old_unit", "outcome"):
        card = browser.get(f"/jobs/{job.uuid}/").content.decode()
        address = f"/jobs/{job.uuid}/send/{what}/"
        assert address in card
        assert "Nothing of the vehicle goes along" in browser.get(address).content.decode()
        browser.post(address)
    job.refresh_from_db()
    assert job.new_unit is not None and job.outcome_sent_at is not None
    assert set(job.unit_events.values_list("kind", "distance_km")) == {("failed", 80000.0), ("fitted", 0.0)}
    assert browser.get(f"/jobs/{job.uuid}/").content.decode().count("given") >= 3


def test_report_is_one_page_of_pdf(browser: Client, mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic)
    answer = browser.get(f"/jobs/{job.uuid}/report.pdf")
    assert answer["Content-Type"] == "application/pdf" and answer["X-Robots-Tag"] == "noindex"
    assert len(re.findall(rb"/Type /Page\b", answer.content)) == 1


def test_queries_do_not_grow_with_events_and_jobs(browser: Client, mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic)
    paths = ["/jobs/", f"/jobs/{job.uuid}/", *(f"/jobs/{job.uuid}/steps/{step}/" for step in JobStep.values)]

    def counted() -> dict[str, int]:
        found = {}
        for path in paths:
            browser.get(path)
            with CaptureQueriesContext(connection) as asked:
                assert browser.get(path).status_code == 200
            found[path] = len(asked)
        return found

    before = counted()
    for n in range(4):
        started(mechanic, design, vehicle=f"Sweeper {n}")
    walked(job, mechanic, until="removed")
    after = counted()
    assert after == before and max(after.values()) <= 15, after
