"""The pages of a job: nothing typed twice, nothing of it for anybody else."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from PIL import Image

from registry.models import Design, Job, Sheet, User
from registry.models.jobs import JobStep
from registry.pages.before_pulling import ORDER, STEPS
from registry.services.jobs.benching import unit_key
from registry.services.jobs.step_body import RULED_OUT_CHECKS
from registry.services.jobs.steps import job_close
from tests.registry.pages.made import CLOSED, PINS, account, reading_of
from tests.registry.services.jobs.made import FAULT, READY, started, walked

pytestmark = pytest.mark.django_db


def grid(**changed: str) -> dict[str, str]:
    """Every field of the sheet's grid filled."""
    return {
        f"r-{step}-{n}-1-1-0": changed.get(f"{position}{pin}", reading_of(position, pin))
        for step, position in enumerate(CLOSED, start=1)
        for n, pin in enumerate(PINS[1:], start=2)
    }


@pytest.fixture
def browser(client: Client, mechanic: User) -> Client:
    client.force_login(mechanic)
    return client


def tried(design: Design, **changed: str) -> dict[str, Any]:
    fields: dict[str, Any] = {"ready": READY, "codes": "none"}
    for position in design.positions.all():
        fields[f"s-{position.step}"] = changed.get(
            position.label, "turned" if position.releases_starter else "silent"
        )
        fields[f"o-{position.step}"] = fields[f"b-{position.step}"] = "yes"
    return fields


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


def test_a_guest_keeps_a_check_by_a_link_shown_once(client: Client, design: Design) -> None:
    fields = {"act": "keep", "symptom": "silent", "measured_it_myself": "on", "read_at": "bench"}
    answer = client.post(f"/designs/{design.uuid}/check/", {**fields, **grid(**FAULT)})
    link = re.search(r"/jobs/link/([\w-]+)/", answer.content.decode())
    assert link and answer["Cache-Control"] == "private, no-store"
    job = Job.objects.get()
    assert link[1] not in client.get(f"/jobs/{job.uuid}/").content.decode()
    elsewhere = Client()
    assert elsewhere.get(f"/jobs/{job.uuid}/").status_code == 404
    assert elsewhere.get(f"/jobs/link/{link[1]}/", follow=True).redirect_chain == [
        (f"/jobs/{job.uuid}/", 302)
    ]
    assert elsewhere.get(f"/jobs/{job.uuid}/").status_code == 200
    client.post(f"/jobs/{job.uuid}/link/", {"act": "withdraw"})
    for browser in (client, elsewhere):
        assert browser.get(f"/jobs/{job.uuid}/").status_code == 404
        assert browser.get(f"/jobs/link/{link[1]}/").status_code == 404


def test_the_link_of_a_closed_job_can_be_withdrawn(browser: Client, mechanic: User, design: Design) -> None:
    job = walked(started(mechanic, design), mechanic)
    job_close(by=mechanic, job=job, body={"outcome": "went"})
    shown = browser.post(f"/jobs/{job.uuid}/link/", {"act": "make"}).content.decode()
    link = re.search(r"/jobs/link/[\w-]+/", shown)
    assert link
    guest = Client()
    assert guest.get(link[0], follow=True).status_code == 200
    browser.post(f"/jobs/{job.uuid}/link/", {"act": "withdraw"})
    assert guest.get(f"/jobs/{job.uuid}/").status_code == 404
    assert guest.get(f"/jobs/{job.uuid}/report.pdf").status_code == 404
    assert browser.get(f"/jobs/{job.uuid}/").status_code == 200


def test_a_guest_takes_a_job_into_the_account(client: Client, mechanic: User, design: Design) -> None:
    client.post("/jobs/new/", {"symptom": "display", "design": str(design.uuid)})
    job = Job.objects.get()
    answer = client.get(f"/jobs/{job.uuid}/send/new_unit/")
    assert answer.status_code == 302 and "/account/login/" in answer.headers["Location"]
    client.force_login(mechanic)
    assert "Take it into my account" in client.get(f"/jobs/{job.uuid}/").content.decode()
    client.post(f"/jobs/{job.uuid}/take-over/")
    job.refresh_from_db()
    assert job.contributor is not None and job.contributor.user == mechanic


def addresses(job: Job, design: Design) -> list[str]:
    at = f"/jobs/{job.uuid}/"
    return [
        at,
        *(f"{at}steps/{step}/" for step in JobStep.values),
        f"{at}pictures/1/",
        f"{at}identify/",
        f"{at}send/new_unit/",
        f"{at}send/old_unit/",
        f"{at}send/outcome/",
        f"{at}report.pdf",
        f"/designs/{design.uuid}/check/?job={job.uuid}",
        f"/designs/{design.uuid}/bench/?job={job.uuid}",
    ]


@pytest.mark.parametrize("who", ["guest", "colleague", "moderator", "holder of another link"])
def test_somebody_elses_job_is_not_found(mechanic: User, design: Design, who: str) -> None:
    from tests.registry.moderation.made import account as desk_account

    job = walked(started(mechanic, design), mechanic)
    owner = Client()
    owner.force_login(mechanic)
    owner.post(f"/jobs/{job.uuid}/steps/removed/", {"act": "do", "pictures": photo()})
    other = Client()
    if who == "colleague":
        other.force_login(account("colleague", "Ferry Slip"))
    elif who == "moderator":
        other.force_login(desk_account("desk", moderator=True))
    elif who == "holder of another link":
        other.post("/jobs/new/", {"symptom": "silent"})
    before = list(job.events.values_list("number", flat=True))
    for address in addresses(job, design):
        own = owner.get(address)
        assert own.status_code == 200, address
        whole(own)
        for answer in (other.get(address), other.post(address, {"act": "do"})):
            assert answer.status_code == 404, (address, answer.status_code)
    for deed in ("recheck", "reopen", "link", "take-over"):
        assert other.post(f"/jobs/{job.uuid}/{deed}/").status_code == 404
    assert list(job.events.values_list("number", flat=True)) == before


def whole(answer: Any) -> bytes:
    """All of an answer; closing it whole would end the test's connection."""
    if not answer.streaming:
        return bytes(answer.content)
    read = b"".join(answer.streaming_content)
    for close in answer._resource_closers:
        close()
    return read


def photo() -> SimpleUploadedFile:
    """With a place in it, as a phone makes one."""
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (51.0, 28.0, 40.0)}
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "gray").save(file, "JPEG", exif=exif)
    return SimpleUploadedFile("lever.jpg", file.getvalue(), "image/jpeg")


def test_pictures_lose_their_place_and_stay_private(browser: Client, mechanic: User, design: Design) -> None:
    job = started(mechanic, design)
    browser.post(f"/jobs/{job.uuid}/steps/prepared/", {"act": "do", "pictures": photo()})
    picture = job.pictures.get()
    assert picture.step == "prepared"
    answer = browser.get(f"/jobs/{job.uuid}/pictures/1/")
    kept = whole(answer)
    assert Image.open(io.BytesIO(kept)).getexif() == {} and b"Exif" not in kept
    browser.post(f"/jobs/{job.uuid}/pictures/1/")
    assert not job.pictures.exists()
    acts = [event.act for event in job.events.all()]
    assert acts[-2:] == ["picture", "picture_removed"]


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


def test_jobs_without_an_account_are_counted_by_block_and_day(
    client: Client, db: None, settings: Any
) -> None:
    settings.BENCHQUORUM_GUEST_JOBS = 2
    for n, status in enumerate((200, 200, 400)):
        answer = client.post("/jobs/new/", {"symptom": "silent"}, REMOTE_ADDR=f"192.0.2.{n}")
        assert answer.status_code == status
    assert Job.objects.count() == 2
    assert client.post("/jobs/new/", {"symptom": "silent"}, REMOTE_ADDR="198.51.100.7").status_code == 200
