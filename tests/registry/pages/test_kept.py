"""What a device keeps of a chart, and the app that the pages can be installed as."""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from registry.models import ChartRevision, Design
from tests.registry.pages.made import account, made_design, made_evidence

pytestmark = pytest.mark.django_db


@pytest.fixture
def design(monkeypatch: pytest.MonkeyPatch) -> Design:
    monkeypatch.setattr("django.db.transaction.on_commit", lambda task, using=None, robust=False: task())
    made = made_design(account("proposer"))
    made_evidence(made)
    return made


def test_tables_come_with_revision_date_and_words(client: Client, design: Design) -> None:
    address = f"/designs/{design.uuid}/offline.json"
    answer = client.get(address)
    document = answer.json()
    revision = design.current_chart.revision
    assert (document["revision"], document["digest"]) == (revision.number, revision.digest)
    assert document["published"] == revision.published_at.date().isoformat()
    assert document["withdrawn"] is None and document["tables"]["pins"] == list("123456")
    assert "{share}" in document["words"]["verdicts"]["good"]
    assert all("{p}" in text for text in document["words"]["causes"].values())
    keys = [json.loads(key) for key in document["words"]["causes"]]
    assert ["line_open", ["4"], [], ""] in keys and ["harness_open", ["4"], [], ""] in keys
    assert client.get(address, headers={"if-none-match": answer["ETag"]}).status_code == 304


def test_withdrawn_chart_leaves_no_tables_but_its_reason(client: Client, design: Design) -> None:
    ChartRevision.objects.filter(design=design, state="published").update(
        state="withdrawn", withdrawn_at=timezone.now(), withdrawn_reason="drawn from the wrong side."
    )
    document = client.get(f"/designs/{design.uuid}/offline.json").json()
    assert document["withdrawn"] == "drawn from the wrong side." and document["tables"] is None
    assert document["words"]["withdrawn"].startswith("This chart was withdrawn: {reason}")


def test_a_chart_whose_evidence_has_changed_says_so(client: Client, design: Design) -> None:
    address = f"/designs/{design.uuid}/offline.json"
    first = client.get(address)
    assert first.json()["stale"] is False
    Design.objects.filter(pk=design.pk).update(stale=True)
    again = client.get(address, headers={"if-none-match": first["ETag"]})
    assert again.json()["stale"] is True
    assert again.json()["words"]["stale"].startswith("Its evidence had changed already")


def test_nothing_to_keep_where_there_is_no_chart(client: Client, design: Design) -> None:
    bare = made_design(account("another"), "Ferry selector 13")
    for uuid in (bare.uuid, uuid4()):
        assert client.get(f"/designs/{uuid}/offline.json").status_code == 404
    assert b"keep-line" not in client.get(f"/designs/{bare.uuid}/").content
    assert b"keep-line" in client.get(f"/designs/{design.uuid}/").content


def test_pages_can_be_installed_as_an_app(client: Client) -> None:
    manifest: dict[str, Any] = client.get("/manifest.webmanifest").json()
    assert {"name", "start_url", "display", "icons"} <= set(manifest)
    assert b'rel="manifest"' in client.get("/about/").content
    worker = client.get("/sw.js").content.decode()
    assert "offline/sums.js" in worker and "offline/curves.js" in worker
    icon = client.get(manifest["icons"][0]["src"])
    assert icon.status_code == 200
    icon.close()  # and with it the connection, as after any request: nothing is asked after it
