"""Whose job it is: by account or by link, and nobody else's."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from django.test import Client
from PIL import Image

from registry.models import Design, Job, User
from registry.models.jobs import JobStep
from registry.services.jobs.steps import job_close
from tests.registry.pages.jobs.made import grid, photo, whole
from tests.registry.pages.made import account
from tests.registry.services.jobs.made import FAULT, started, walked

pytestmark = pytest.mark.django_db


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


def test_jobs_without_an_account_are_counted_by_block_and_day(
    client: Client, db: None, settings: Any
) -> None:
    settings.BENCHQUORUM_GUEST_JOBS = 2
    for n, status in enumerate((200, 200, 400)):
        answer = client.post("/jobs/new/", {"symptom": "silent"}, REMOTE_ADDR=f"192.0.2.{n}")
        assert answer.status_code == status
    assert Job.objects.count() == 2
    assert client.post("/jobs/new/", {"symptom": "silent"}, REMOTE_ADDR="198.51.100.7").status_code == 200
