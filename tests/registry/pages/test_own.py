"""One's own page: a pattern of one's own units, a private link to it, requests, habits, data to take away."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from registry.models import Decision, Design, Sheet, Target, User
from registry.services.snapshots import snapshot_learn
from tests.registry.pages.made import account, made_sheet, readings


@pytest.fixture
def sheet(reader: User, design: Design, evidence: Callable[..., None], committed: Any) -> Sheet:
    evidence(4)
    with committed():
        return made_sheet(reader, design, readings=readings(R4="1.2k"))


def test_own_pattern_counts_own_units_alone(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    page = client.get(f"/sheets/own/{sheet.design.uuid}/").content.decode()
    assert "1 of 1 unit" in page
    assert "4 of 4 units" not in page
    assert '<span class="word">resistive</span>' in page  # what this person read in R, against all others


def test_private_link_shows_it_to_whoever_has_it(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    page = client.get(f"/sheets/own/{sheet.design.uuid}/").content.decode()
    link = re.search(r"http://testserver(/shared/[^<]+/)", page)
    assert link is not None
    client.logout()
    assert "1 of 1 unit" in client.get(link[1]).content.decode()
    assert client.get(link[1][:-3] + "xx/").status_code == 404


def test_request_to_read_again_leads_to_a_sheet_that_names_the_first(
    client: Client, reader: User, sheet: Sheet
) -> None:
    Decision.objects.create(
        kind=Decision.Kind.ASK_REREAD,
        target_kind=Target.SHEET,
        target_uuid=sheet.uuid,
        payload={"deadline": "2026-12-24"},
        reason="Pin 4 in R, please.",
        state=Decision.State.IN_FORCE,
    )
    client.force_login(reader)
    page = client.get("/sheets/own/").content.decode()
    assert "Pin 4 in R, please." in page
    address = f"/designs/{sheet.design.uuid}/bench/?rereads={sheet.uuid}"
    assert f'href="{address}"' in page
    assert f'name="rereads" value="{sheet.uuid}"' in client.get(address).content.decode()
    made_sheet(reader, sheet.design, rereads=str(sheet.uuid))
    assert "Pin 4 in R, please." not in client.get("/sheets/own/").content.decode()


def test_habits_are_shown_to_their_owner_alone(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    assert "Not known yet" in client.get("/sheets/own/").content.decode()
    snapshot_learn()
    assert "A contact that is there, read as open" in client.get("/sheets/own/").content.decode()
    client.force_login(account("another"))
    assert "A contact that is there" not in client.get("/sheets/own/").content.decode()


def test_data_to_take_away_holds_every_reading_as_typed(client: Client, reader: User, sheet: Sheet) -> None:
    client.force_login(reader)
    answer = client.get("/sheets/own/data.json")
    taken = answer.json()
    assert taken["email"] == reader.email
    typed = {(r["position"], r["pin"]): r["reading"] for r in taken["sheets"][0]["versions"][0]["readings"]}
    assert typed["R", "4"] == "1.2k"
    assert len(typed) == 25
    assert answer["Cache-Control"] == "no-store"
