"""A design in one answer: its digest is the ETag, nothing private is in it, and it can be loaded."""

from __future__ import annotations

import hashlib
import json
import uuid
from threading import Thread
from typing import Any

import pytest
from django.db import connection
from rest_framework.test import APIClient

from registry.formats.package_part import NOT_IN_PARTS, Part
from registry.formats.package_tables import TABLES
from registry.models import Design
from registry.selectors import package_part
from registry.selectors.package_rows import PackageRows
from tests.registry.moderation.made import account, made_design
from tests.registry.packages.made import PRIVATE, made_registry

pytestmark = pytest.mark.django_db


@pytest.fixture
def address(settings: Any, monkeypatch: pytest.MonkeyPatch) -> str:
    settings.BENCHQUORUM_REPLY_DAYS = 0
    monkeypatch.setattr("django.db.transaction.on_commit", lambda task, using=None, robust=False: task())
    design, _sheets, _people = made_registry()
    return f"/api/v1/designs/{design.uuid}/part/"


def test_etag_is_the_digest_of_what_came(guest: APIClient, address: str) -> None:
    answer = guest.get(address)
    assert answer["ETag"] == f'"{hashlib.sha256(answer.content).hexdigest()}"'
    assert guest.get(address, headers={"if-none-match": answer["ETag"]}).status_code == 304
    assert guest.get(address, headers={"if-none-match": '"other"'}).content == answer.content


def test_nothing_private_is_in_it_and_every_table_is(guest: APIClient, address: str) -> None:
    answer = guest.get(address)
    text = answer.content.decode()
    assert [secret for secret in PRIVATE if secret in text] == []
    part = Part(answer.content)
    assert len({row["sheet"] for row in part.rows("sheets")}) == 6
    for table in TABLES:
        if table.name not in NOT_IN_PARTS:
            assert all(set(row) == set(table.names) for row in part.rows(table.name))
    charts = list(part.rows("charts"))
    contents = list(part.lines("charts"))
    assert [hashlib.sha256(line).hexdigest() for line in contents] == [
        row["content_sha256"] for row in charts
    ]
    assert charts[-1]["current"] and json.loads(contents[-1])["format"] == "benchquorum/chart/1"


def test_unknown_design_is_not_found(guest: APIClient) -> None:
    assert guest.get(f"/api/v1/designs/{uuid.uuid4()}/part/").status_code == 404


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite's readers see one moment anyway")
def test_what_changes_meanwhile_is_not_half_in_it(monkeypatch: pytest.MonkeyPatch) -> None:
    design = made_design(account("reader"))

    def change() -> None:
        Design.objects.update(description="changed meanwhile")
        connection.close()

    class Later(PackageRows):
        def __init__(self, only: Design | None = None) -> None:
            thread = Thread(target=change)
            thread.start()
            thread.join()
            super().__init__(only)

    monkeypatch.setattr(package_part, "PackageRows", Later)
    assert b"changed meanwhile" not in (package_part.design_part(design.uuid) or b"")
    assert b"changed meanwhile" in (package_part.design_part(design.uuid) or b"")
