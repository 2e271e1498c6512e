"""Nobody fills the disk with what no page wants: a body that is too long is refused before a byte is read."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from registry.body_sizes import BULK_BYTES, PICTURES_BYTES
from registry.models import Design, User
from registry.services.jobs.links import link_withdraw
from registry.services.jobs.starting import job_start
from registry.services.pictures import MOST_BYTES
from registry.services.sheet_bulk import MOST_SHEETS
from registry.services.sheets import sheet_submit
from tests.api.made import made_token, made_user, sheet_body

pytestmark = pytest.mark.django_db
FORM = "multipart/form-data; boundary=x"
HEAD = b'--x\r\nContent-Disposition: form-data; name="f"; filename="f"\r\nContent-Type: x/y\r\n\r\n'
WORDS = 10_000_000  # as the settings have it


class Unread(io.BytesIO):
    """What must not be looked at."""

    def read(self, *args: Any) -> bytes:
        raise AssertionError("the body was read")

    readline = read


def send(client: Client, path: str, length: int, body: io.BytesIO | None = None, **more: Any) -> Any:
    """The body is said to be so long."""
    given = {"CONTENT_TYPE": FORM, "CONTENT_LENGTH": str(length), "wsgi.input": body or Unread(), **more}
    return client.generic("POST", path, b"", FORM, **given)


@pytest.fixture
def strict() -> Client:
    """As a browser: forms are checked, which is what reads a body first."""
    return form_sender()


def form_sender() -> Client:
    client = Client(enforce_csrf_checks=True)
    client.cookies["csrftoken"] = "x" * 32  # anybody's own; without one nothing is read
    return client


@pytest.mark.parametrize(
    "path", ["/about/", "/account/login/", "/preferences/", "/designs/{}/bench/", "/check/"]
)
def test_a_guest_s_files_are_not_even_read(strict: Client, design: Design, path: str) -> None:
    answer = send(strict, path.format(design.uuid), WORDS + 1)
    assert answer.status_code == 413
    assert "takes 10 MB in one go" in answer.content.decode()
    assert answer["Content-Security-Policy"] and answer["X-Content-Type-Options"] == "nosniff"


def test_without_the_limit_they_would_have_been(strict: Client, settings: Any) -> None:
    """So the test above sees what it is there for: the client is made with the settings as they are."""
    settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if "body_sizes" not in name]
    with pytest.raises(AssertionError, match="was read"):
        send(form_sender(), "/about/", WORDS + 1)


def test_the_answer_is_in_the_reader_s_language(strict: Client) -> None:
    answer = send(strict, "/about/", WORDS + 1, HTTP_ACCEPT_LANGUAGE="de")
    assert 'lang="de"' in answer.content.decode() and "10 MB" in answer.content.decode()
    assert "was sent is too large" not in answer.content.decode()


@pytest.mark.parametrize("path", ["designs/", "submissions/bulk/", "check/", "nowhere/"])
def test_under_the_api_it_is_a_problem(path: str) -> None:
    answer = send(APIClient(), f"/api/v1/{path}", WORDS + 1)
    assert answer.status_code == 413 and answer["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "too_large"


def test_a_body_of_no_known_length_is_not_read(strict: Client) -> None:
    endless = {"HTTP_TRANSFER_ENCODING": "chunked", "CONTENT_LENGTH": ""}
    page = strict.generic("POST", "/about/", b"", FORM, **{**endless, "wsgi.input": Unread()})
    assert page.status_code == 411 and "how long" in page.content.decode()
    problem = APIClient().generic("POST", "/api/v1/check/", b"", "application/json", **endless)
    assert problem.status_code == 411 and problem.json()["code"] == "length_required"


def a_file(size: int) -> io.BytesIO:
    return io.BytesIO(HEAD + bytes(size) + b"\r\n--x--\r\n")


def test_the_largest_honest_uploads_pass(reader: User, design: Design, client: Client) -> None:
    """Four pictures of the largest size, with a sheet; they are none, which only their page finds out."""
    client.force_login(reader)
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    body = a_file(PICTURES_BYTES)
    assert PICTURES_BYTES == 48_000_000
    for path in (f"/designs/{design.uuid}/bench/", f"/sheets/{sheet.uuid}/pictures/"):
        body.seek(0)
        assert send(client, path, len(body.getvalue()), body).status_code in (200, 302, 400)
        assert send(client, path, PICTURES_BYTES + WORDS + 1).status_code == 413
    table = a_file(10_000_000)
    for page in ("matrix", "import"):
        table.seek(0)
        answer = send(client, f"/designs/{design.uuid}/{page}/", len(table.getvalue()), table)
        assert answer.status_code != 413, page


def test_a_job_takes_pictures_from_its_own_people_alone(strict: Client, reader: User, client: Client) -> None:
    """Whoever opened its link, and its account; from anybody else none is read."""
    made = job_start(by=None, body={"symptom": "silent"})
    step = f"/jobs/{made.job.uuid}/steps/ruled_out/"
    body = a_file(PICTURES_BYTES)
    length = len(body.getvalue())
    stranger = form_sender()
    stranger.force_login(made_user("stranger"))
    for unknown in (strict, stranger):
        assert send(unknown, step, length).status_code == 413
    holder = Client()
    holder.get(f"/jobs/link/{made.token}/")
    assert send(holder, step, length, body).status_code in (302, 400)
    assert send(holder, step, PICTURES_BYTES + WORDS + 1).status_code == 413
    link_withdraw(by=made.holder, job=made.job)
    assert send(holder, step, length).status_code == 413
    own = job_start(by=reader, body={"symptom": "silent"}).job
    client.force_login(reader)
    body.seek(0)
    assert send(client, f"/jobs/{own.uuid}/steps/ruled_out/", length, body).status_code in (302, 400)
    assert send(stranger, f"/jobs/{own.uuid}/steps/ruled_out/", length).status_code == 413


def test_the_largest_picture_passes_the_api(reader: User, design: Design) -> None:
    """As base64 it is a third longer than the file that a page takes."""
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    bearer = APIClient()
    bearer.credentials(HTTP_AUTHORIZATION=made_token(reader, "read", "submit"))
    path = f"/api/v1/submissions/{sheet.uuid}/pictures/"
    answer = bearer.post(path, {"picture": "A" * (MOST_BYTES * 4 // 3)}, format="json")
    assert answer.status_code == 400 and answer.json()["code"] == "picture_unreadable", answer.content[:300]
    answer = bearer.post(path, {"picture": "A" * (MOST_BYTES * 4 // 3 + 2000)}, format="json")
    assert answer.status_code == 413


def test_as_many_sheets_as_one_call_takes_pass_the_api(reader: User) -> None:
    """5 000 of some 3 kB; they are none, which only the view finds out."""
    bearer = APIClient()
    bearer.credentials(HTTP_AUTHORIZATION=made_token(reader, "read", "submit"))
    path = "/api/v1/submissions/bulk/"
    answer = bearer.post(path, {"sheets": ["A" * 3000] * MOST_SHEETS}, format="json")
    assert answer.status_code not in (413, 500), answer.content[:300]
    answer = bearer.post(path, {"sheets": ["A" * BULK_BYTES]}, format="json")
    assert answer.status_code == 413


def test_a_private_link_stays_out_of_the_log(strict: Client, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level("INFO", "registry.request"):
        assert send(strict, "/jobs/link/a-secret-of-somebody/", WORDS + 1).status_code == 413
    assert caplog.messages and "a-secret" not in caplog.text
