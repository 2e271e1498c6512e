"""My sheets: listed with what was found, amended as a new version, withdrawn with a reason, brought back."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from PIL import Image

from registry.models import Design, Sheet, User
from tests.registry.moderation.made import account as moderator
from tests.registry.pages.made import account, made_sheet, readings
from tests.registry.pages.test_bench import filled


@pytest.fixture
def sheet(reader: User, design: Design, evidence: Callable[..., None], committed: Any) -> Sheet:
    evidence(4)
    with committed():
        return made_sheet(reader, design, readings=readings(R4="OL"))


def test_list_is_empty_with_a_first_step(client: Client, reader: User) -> None:
    client.force_login(reader)
    page = client.get("/sheets/").content.decode()
    assert "Your bench sheets will be here" in page
    assert 'href="/designs/?for=bench"' in page


def test_list_says_what_was_found(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    page = client.get("/sheets/").content.decode()
    assert "sweeper 3" in page
    assert "Read pin 4 in R again." in page


def test_sheet_shows_what_was_typed_and_marks_what_is_unlike(client: Client, sheet: Sheet) -> None:
    page = client.get(f"/sheets/{sheet.uuid}/").content.decode()
    assert page.count("cell unlike") == 1
    assert "open, unlike the pattern" in page
    assert "Amend" not in page  # a guest can't change it


def test_amendment_is_a_new_version_and_the_old_one_stays(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    address = f"/sheets/{sheet.uuid}/amend/"
    page = client.get(address).content.decode()
    assert 'value="OL"' in page and 'value="20M"' in page, "figures as one types them"
    values = filled(sheet.design, R4="0.5") | {"on_version": "1", "unit_key": "sweeper 3"}
    refused = client.post(address, values)
    assert refused.status_code == 400  # without a reason
    assert client.post(address, values | {"reason": "lead slipped"}).status_code == 302
    assert [v.number for v in sheet.versions.order_by("number")] == [1, 2]
    old = client.get(f"/sheets/{sheet.uuid}/?version=1").content.decode()
    assert "This is version 1, as it stood." in old
    late = sheet.versions.get(number=2).readings.get(first_pass=False)
    assert late.as_typed == "0.5"


def test_amendment_of_an_older_version_is_told(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    values = filled(sheet.design, R4="0.5") | {"on_version": "1", "reason": "first", "unit_key": "sweeper 3"}
    client.post(f"/sheets/{sheet.uuid}/amend/", values)
    answer = client.post(f"/sheets/{sheet.uuid}/amend/", values | {"reason": "second"})
    assert answer.status_code == 400
    assert "This sheet was changed in the meantime" in answer.content.decode()
    assert sheet.versions.count() == 2


def test_withdrawal_needs_a_reason_and_can_be_undone(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    client.post(f"/sheets/{sheet.uuid}/withdraw/", {"reason": ""})
    sheet.refresh_from_db()
    assert sheet.withdrawn_at is None
    client.post(f"/sheets/{sheet.uuid}/withdraw/", {"reason": "wrong unit"})
    sheet.refresh_from_db()
    assert sheet.withdrawn_at is not None
    client.post(f"/sheets/{sheet.uuid}/restore/")
    sheet.refresh_from_db()
    assert sheet.withdrawn_at is None


@pytest.mark.parametrize("act", ["amend", "withdraw", "restore", "pictures"])
def test_others_cannot_change_it(client: Client, sheet: Sheet, act: str) -> None:
    client.force_login(account("somebody else"))
    if act == "pictures":
        answer = client.post(f"/sheets/{sheet.uuid}/{act}/", {"pictures": picture()})
    else:
        answer = client.post(f"/sheets/{sheet.uuid}/{act}/", {"reason": "because"})
    assert answer.status_code == 403
    assert "Only the contributor" in answer.content.decode()


def picture() -> io.BytesIO:
    file = io.BytesIO()
    Image.new("RGB", (30, 20), "white").save(file, "PNG")
    file.seek(0)
    file.name = "plug.png"
    return file


def test_picture_is_shown_to_its_contributor_alone(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    client.post(f"/sheets/{sheet.uuid}/pictures/", {"pictures": picture()})
    address = f"/sheets/{sheet.uuid}/pictures/1/"
    answer = client.get(address)
    assert answer["Content-Type"] == "image/jpeg"
    assert b"".join(answer.streaming_content).startswith(b"\xff\xd8")  # type: ignore[attr-defined]
    client.logout()
    assert client.get(address).status_code == 404


def test_a_sheet_taken_back_is_told_to_others_as_taken_back(
    client: Client, reader: User, sheet: Sheet
) -> None:
    """As the API does: what its contributor withdrew is nobody's to read any more, but for the desk."""
    client.force_login(reader)
    client.post(f"/sheets/{sheet.uuid}/withdraw/", {"reason": "wrong unit"})
    assert "wrong unit" in client.get(f"/sheets/{sheet.uuid}/").content.decode()
    client.force_login(account("somebody else"))
    for who in (client, Client()):
        answer = who.get(f"/sheets/{sheet.uuid}/?version=1")
        page = answer.content.decode()
        assert answer.status_code == 410 and "taken this sheet back" in page
        assert "wrong unit" not in page and "sweeper 3" not in page and "<table" not in page
    client.force_login(moderator("desk", moderator=True))
    assert client.get(f"/sheets/{sheet.uuid}/").status_code == 200


@pytest.mark.parametrize("typed", ["²", "9" * 5000, "-1", ""])
def test_a_version_that_is_no_number_is_an_old_one(
    client: Client, reader: User, sheet: Sheet, typed: str
) -> None:
    client.force_login(reader)
    values = filled(sheet.design, R4="0.5") | {"on_version": typed, "unit_key": "sweeper 3"}
    answer = client.post(f"/sheets/{sheet.uuid}/amend/", values | {"reason": "lead slipped"})
    assert answer.status_code == 400 and sheet.versions.count() == 1
