"""A page asks the same number of queries with one row and with many, and never more than `MOST`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.models import Design, Sheet, User
from registry.services.meters import meter_keep
from registry.services.tokens import token_make
from tests.registry.pages.made import account, made_design, made_evidence, made_sheet

MOST = 16  # of one page: rights, session, whether this is a copy, and what it shows
pytestmark = pytest.mark.django_db


@pytest.fixture
def reader() -> User:
    return account("me", "Ferry Slip")


@pytest.fixture
def design(reader: User, django_capture_on_commit_callbacks: Any) -> Design:
    with django_capture_on_commit_callbacks(execute=True):
        made = made_design(reader)
        made_sheet(reader, made)
    return made


@pytest.fixture
def more(design: Design, reader: User, django_capture_on_commit_callbacks: Any) -> Callable[[], None]:
    def grow() -> None:
        with django_capture_on_commit_callbacks(execute=True):
            made_evidence(design, people=5)
            for n in range(6):
                other = made_design(reader, f"Another {n}", families=["Orbel slow four", f"Family {n}"])
                made_sheet(reader, other, f"unit {n}")
                meter_keep(by=reader, body={"name": f"meter {n}", "lead_ohm": "0.2"})
                token_make(by=reader, name=f"token {n}", scopes=["read"])

    return grow


def queries(client: Client, path: str, **data: Any) -> int:
    client.get(path)  # sessions and content types are warm
    with CaptureQueriesContext(connection) as asked:
        answer = client.post(path, data) if data else client.get(path)
    assert answer.status_code == 200, path
    return len(asked)


def paths(design: Design, sheet: Sheet) -> list[str]:
    at = f"/designs/{design.uuid}/"
    return [
        "/",
        "/designs/",
        "/designs/?q=six+pins",
        at,
        f"{at}?position=R&pin=4&against=1",
        f"{at}revisions/1/",
        f"{at}compare/",
        f"{at}bench/",
        f"{at}check/",
        "/check/",
        "/sheets/",
        f"/sheets/{sheet.uuid}/",
        f"/sheets/{sheet.uuid}/amend/",
        "/account/own/",
        "/account/own/meters/",
        "/account/own/tokens/",
    ]


def test_queries_do_not_grow_with_rows(
    client: Client, reader: User, design: Design, more: Callable[[], None]
) -> None:
    client.force_login(reader)
    meter_keep(by=reader, body={"name": "first", "lead_ohm": "0.2"})
    token_make(by=reader, name="first", scopes=["read"])
    sheet = Sheet.objects.get(design=design)
    before = {path: queries(client, path) for path in paths(design, sheet)}
    more()
    after = {path: queries(client, path) for path in paths(design, sheet)}
    assert after == before
    assert max(after.values()) <= MOST, after
