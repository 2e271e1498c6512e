"""One unit from a file: what is wrong beside the file doesn't cost the file."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from registry.models import Sheet
from tests.registry.pages.made import account, made_design

pytestmark = pytest.mark.django_db
GOOD, BAD = b",2,3\nP,0.4,OL\nR,OL,0.4\n", b",2,3\nP,0.4,much\n"
FORM = {"unit_key": "shelf 3", "held_good": "worked", "source_class": "unknown", "read_at": "bench"}


@pytest.fixture
def send(client: Client) -> Any:
    person = account("reader")
    design = made_design(person)
    client.force_login(person)

    def posted(content: bytes | None = None, **changes: str) -> Any:
        more = {} if content is None else {"file": SimpleUploadedFile("unit.csv", content)}
        values = {**FORM, "measured_it_myself": "1", "act": "look", **changes, **more}
        return client.post(f"/designs/{design.uuid}/matrix/", values)

    return posted


def test_the_file_is_kept_where_something_beside_it_is_wrong(send: Any) -> None:
    first = send(GOOD, unit_key="")
    assert first.status_code == 422 and not first.context.get("preview")
    page, kept = first.content.decode(), first.context["kept"]
    assert f'name="kept" value="{kept}"' in page
    assert "required" not in page.split('id="file"')[1].split(">")[0]
    again = send(kept=kept)
    assert len(again.context["preview"]["readings"]) == 4
    refused = send(kept=again.context["kept"], act="send", lead_ohm="much")
    assert refused.status_code == 422 and refused.context["kept"] == kept
    assert send(kept=kept, act="send").status_code == 302 and Sheet.objects.count() == 1


def test_a_file_that_is_wrong_itself_is_chosen_again(send: Any) -> None:
    page = send(BAD)
    assert page.status_code == 422 and b'name="kept"' not in page.content
    assert "required" in page.content.decode().split('id="file"')[1].split(">")[0]
