"""The feed: every deed in order, no number left out, frozen at the event, withdrawals included."""

from __future__ import annotations

import uuid
import xml.etree.ElementTree as ElementTree
from threading import Thread
from typing import Any

import pytest
from django.db import connection
from rest_framework.test import APIClient

from api.views import changes as feed
from registry.models import Change, ChartRevision, Design, Sheet, User
from registry.services.changes import change_note, changes_number
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_user, sheet_body

FEED, ATOM = "/api/v1/changes/", "/api/v1/changes/atom/"
ENTRY = "{http://www.w3.org/2005/Atom}entry"


@pytest.fixture
def charted(reader: User, design: Design) -> Design:
    for n, user in enumerate((reader, made_user("b"), made_user("c"))):
        sheet_submit(by=user, body=sheet_body(design, unit={"key": str(n)}))
    chart_refresh(design_id=design.pk)
    return design


def kinds(client: APIClient, **query: Any) -> list[str]:
    return [line["kind"] for line in client.get(FEED, query).json()["results"]]


def test_every_deed_is_in_it_in_order(guest: APIClient, bearer: APIClient, charted: Design) -> None:
    found = guest.get(FEED).json()
    assert [line["kind"] for line in found["results"]] == [
        "design_added",
        "sheet_added",
        "sheet_added",
        "sheet_added",
        "chart_published",
    ]
    assert [line["number"] for line in found["results"]] == [1, 2, 3, 4, 5]
    assert (found["last"], found["newest"], found["more"]) == (5, 5, False)
    sheet = found["results"][1]["payload"]["submission"]
    bearer.patch(
        f"/api/v1/submissions/{sheet}/", {"on_version": 1, "reason": "x", "source_class": "equivalent"}
    )
    bearer.post(f"/api/v1/submissions/{sheet}/withdraw/", {"reason": "x"})
    bearer.post(f"/api/v1/submissions/{sheet}/restore/")
    assert kinds(guest, since=5) == ["sheet_amended", "sheet_withdrawn", "sheet_restored"]


def test_it_is_read_in_parts_without_a_gap(guest: APIClient, charted: Design) -> None:
    seen, since, more = [], 0, True
    while more:
        part = guest.get(FEED, {"since": since, "limit": 2}).json()
        seen += [line["number"] for line in part["results"]]
        since, more = part["last"], part["more"]
    assert seen == [1, 2, 3, 4, 5] and since == 5


@pytest.mark.parametrize("asked", ["newest_number", "changes_after"])
def test_what_is_numbered_while_it_is_read_comes_the_next_time_and_once(
    guest: APIClient, charted: Design, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    ask = getattr(feed, asked)

    def slowly(*args: Any, **kwargs: Any) -> Any:
        change_note(kind=Change.Kind.DESIGN_ADDED, design=uuid.uuid4(), payload={})
        changes_number()
        return ask(*args, **kwargs)

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(feed, asked, slowly)
        first = guest.get(FEED).json()
    second = guest.get(FEED, {"since": first["last"]}).json()
    assert [line["number"] for line in first["results"] + second["results"]] == [1, 2, 3, 4, 5, 6]


def test_the_bulk_call_and_a_single_one_are_told_alike(
    guest: APIClient, bearer: APIClient, design: Design
) -> None:
    bearer.post("/api/v1/submissions/bulk/", {"submissions": [sheet_body(design), sheet_body(design)]})
    bearer.post("/api/v1/submissions/", sheet_body(design))
    lines = guest.get(FEED, {"design": str(design.uuid), "since": 1}).json()["results"]
    assert [line["kind"] for line in lines] == ["sheet_added"] * 3
    assert {line["payload"]["submission"] for line in lines} == {str(s.uuid) for s in Sheet.objects.all()}


def test_the_payload_stays_as_it_was(guest: APIClient, charted: Design) -> None:
    before = guest.get(FEED).json()["results"]
    ChartRevision.objects.update(state="withdrawn", withdrawn_at="2026-11-20T00:00Z", withdrawn_reason="x")
    assert guest.get(FEED).json()["results"] == before
    assert before[-1]["payload"]["state"] == "published"


def test_nothing_private_is_in_it(guest: APIClient, charted: Design) -> None:
    text = guest.get(FEED).content.decode() + guest.get(ATOM).content.decode()
    for private in ("@", "ward-3", "555 0100"):
        assert private not in text


@pytest.mark.parametrize(
    "query", [{"since": "x"}, {"since": -1}, {"limit": 0}, {"limit": 501}, {"design": "x"}]
)
def test_what_cannot_be_read_is_refused(guest: APIClient, db: None, query: dict[str, Any]) -> None:
    assert guest.get(FEED, query).status_code == 400


def test_atom_says_what_to_do(guest: APIClient, charted: Design) -> None:
    answer = guest.get(ATOM, {"design": str(charted.uuid)}, headers={"Accept": "text/html"})
    assert answer["Content-Type"] == "application/atom+xml; charset=utf-8"
    entries = ElementTree.fromstring(answer.content).findall(ENTRY)
    titles = [entry.findtext("{http://www.w3.org/2005/Atom}title") for entry in entries]
    assert titles[0] == "Sweeper selector: revision 1 is published."
    assert all(
        entry.findtext("{http://www.w3.org/2005/Atom}id", "").startswith("urn:uuid:") for entry in entries
    )
    assert guest.get(ATOM, {"design": "x"}).status_code == 400


def test_a_reason_is_text_in_the_feed_and_an_empty_feed_stays_as_it_is(guest: APIClient, db: None) -> None:
    change_note(kind=Change.Kind.SHEET_WITHDRAWN, design=None, payload={"reason": "<b>R < 2 Ω & P</b>"})
    entry = ElementTree.fromstring(guest.get(ATOM).content).find(ENTRY)
    assert entry is not None
    summary = entry.find(ENTRY.replace("entry", "summary"))
    assert summary is not None and summary.get("type") == "html"
    assert summary.text == "&lt;b&gt;R &lt; 2 Ω &amp; P&lt;/b&gt;"  # a reader shows what was typed
    nothing = [guest.get(ATOM, {"design": str(uuid.UUID(int=0))}).content for _ in range(2)]
    assert nothing[0] == nothing[1] and b"<updated>1970-01-01T00:00:00+00:00</updated>" in nothing[0]


def test_a_feed_takes_a_fixed_number_of_queries(
    guest: APIClient, charted: Design, django_assert_num_queries: Any
) -> None:
    guest.get(FEED)
    with django_assert_num_queries(3):  # anything without a number, the lines, the newest number
        guest.get(FEED)
    with django_assert_num_queries(3):  # anything without a number, the lines, the names
        guest.get(ATOM)


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one writer at a time")
def test_two_at_once_leave_no_gap_and_no_double() -> None:
    def write() -> None:
        try:
            for _ in range(10):
                change_note(kind=Change.Kind.DESIGN_ADDED, design=uuid.uuid4(), payload={})
        finally:
            connection.close()

    threads = [Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    changes_number()
    assert sorted(Change.objects.values_list("number", flat=True)) == list(range(1, 41))
