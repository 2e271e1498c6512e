"""The disk fills up, the database goes away, the clock jumps: nothing is lost, doubled or half stored."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from unittest import mock

import pytest
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError, connection
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from api.throttles import Policy, Spent, take
from registry.apart import Apart
from registry.models import Change, Design, Reading, Sheet, SheetPicture, User
from registry.outages import TookTooLong
from registry.services.audit import stored_faults
from registry.services.charts import chart_refresh, revision_verify
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_revision, made_token, made_user, sheet_body
from tests.registry.pages.test_bench import grid_of
from tests.registry.services.test_pictures import photo

ON_DISK = pytest.mark.django_db(transaction=True)
SQLITE = pytest.mark.skipif(
    connection.vendor != "sqlite", reason="this disk is filled through SQLite's own limit"
)


@contextmanager
def full_disk() -> Iterator[None]:
    """The database file may not grow by a page."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        pages = cursor.fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        try:
            yield
        finally:
            cursor.execute("PRAGMA max_page_count = 1073741823")


def sender(user: User) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(user))
    return client


@SQLITE
@ON_DISK
def test_a_full_disk_refuses_whole_sheets_and_takes_them_later() -> None:
    user = made_user()
    design, client = made_design(user), sender(user)
    bodies = [{**sheet_body(design), "unit": {"key": f"u{n}"}} for n in range(60)]
    with full_disk():
        answers = [client.post("/api/v1/submissions/", body, format="json") for body in bodies]
    refused = [answer for answer in answers if answer.status_code != 201]
    assert refused, "the disk was never full"
    assert {answer.status_code for answer in refused} == {503}
    assert refused[0].json()["code"] == "not_stored" and refused[0]["Retry-After"] == "30"
    assert Sheet.objects.count() == len(bodies) - len(refused)
    again = [client.post("/api/v1/submissions/", body, format="json") for body in bodies]
    assert {answer.status_code for answer in again} <= {200, 201}
    assert Sheet.objects.count() == len(bodies)
    assert Reading.objects.count() == sum(len(body["readings"]) for body in bodies)
    assert not stored_faults()
    revision = chart_refresh(design_id=design.pk) or design.revisions.order_by("-number").first()
    assert revision is not None and revision_verify(revision) == "same"


@pytest.mark.django_db
def test_a_check_that_took_too_long_says_so_and_not_that_the_disk_is_full() -> None:
    design = made_design(made_user())
    made_revision(design)
    body = {"design": str(design.uuid), "readings": sheet_body(design)["readings"]}
    typed = {grid_of(design).places[0].name: "0.4"}
    with mock.patch.object(Apart, "run", side_effect=TookTooLong):
        told = APIClient().post("/api/v1/check/", body, format="json")
        page = Client(raise_request_exception=False).post(f"/designs/{design.uuid}/check/", typed)
    assert told.status_code == page.status_code == 503 and told["Retry-After"] == page["Retry-After"] == "30"
    assert told.json()["code"] == "took_too_long" and "fewer readings" in told.json()["detail"]
    assert "This took too long" in page.content.decode() and "store anything" not in page.content.decode()


@pytest.mark.django_db
def test_no_room_for_a_picture_leaves_no_row() -> None:
    user = made_user()
    design = made_design(user)
    sheet = sheet_submit(by=user, body=sheet_body(design))
    browser = Client(raise_request_exception=False)
    browser.force_login(user)
    with mock.patch.object(FileSystemStorage, "_save", side_effect=OSError(28, "No space left on device")):
        answer = browser.post(
            f"/sheets/{sheet.uuid}/pictures/",
            {"pictures": SimpleUploadedFile("tag.jpg", photo(), "image/jpeg")},
        )
    assert answer.status_code == 503
    assert "Nothing of this was stored" in answer.content.decode()
    assert not SheetPicture.objects.exists()


@pytest.mark.django_db
def test_a_database_that_does_not_answer_is_no_fault_of_the_sender() -> None:
    user = made_user()
    design = made_design(user)
    client = sender(user)
    gone = OperationalError("server closed the connection unexpectedly")
    with mock.patch("registry.services.sheets._store", side_effect=gone):
        answer = client.post("/api/v1/submissions/", sheet_body(design), format="json")
    assert answer.status_code == 503 and answer["Retry-After"]
    assert "server closed" not in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("jump", [timedelta(days=-400), timedelta(days=400)])
def test_a_clock_that_jumps_changes_no_order_and_no_chart(jump: timedelta) -> None:
    user = made_user()
    design = made_design(user)
    _sheet(user, design, "u1")
    first = chart_refresh(design_id=design.pk)
    moved = timezone.now() + jump
    with mock.patch("django.utils.timezone.now", return_value=moved):
        _sheet(user, design, "u2")
        second = chart_refresh(design_id=design.pk)
    _sheet(user, design, "u3")
    third = chart_refresh(design_id=design.pk)
    assert [one.number for one in (first, second, third) if one] == [1, 2, 3]
    assert all(revision_verify(one) == "same" for one in (first, second, third) if one)
    assert not stored_faults()
    numbers = list(Change.objects.exclude(number=None).order_by("pk").values_list("number", flat=True))
    assert numbers == sorted(numbers)


def test_a_clock_set_back_makes_nobody_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    policy = Policy("test", 2, 3600)
    monkeypatch.setattr("api.throttles.time.time", lambda: 1e9)
    take(policy, "clock-test"), take(policy, "clock-test")
    with pytest.raises(Spent):
        take(policy, "clock-test")
    monkeypatch.setattr("api.throttles.time.time", lambda: 1e9 - 86400)
    assert take(policy, "clock-test").remaining == 1


def _sheet(user: User, design: Design, key: str) -> None:
    sheet_submit(by=user, body={**sheet_body(design), "unit": {"key": key}})
