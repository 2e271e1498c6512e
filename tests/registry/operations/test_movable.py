"""What any account can send can be moved to the other database: no NUL, and one form of every figure."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from registry.errors import RegistryErrors
from registry.models import Design, Dispute, JobSheet, Sheet, User
from registry.services.database_copy import _row_text
from registry.services.decisions import decide
from registry.services.disputes import dispute_open
from registry.services.jobs.benching import unit_bench
from registry.services.jobs.starting import job_start
from registry.services.sheets import sheet_submit, sheet_withdraw
from tests.api.made import made_moderator, sheet_body

pytestmark = pytest.mark.django_db
BAD = ("wrong\0here", "wrong\x1bhere", "wrong\x9bhere")


@pytest.fixture
def sheet(reader: User, design: Design) -> Sheet:
    return sheet_submit(by=reader, body=sheet_body(design))


def refused(act: Any) -> None:
    with pytest.raises(RegistryErrors) as errors:
        act()
    assert [error.code for error in errors.value] == ["control_characters"]


@pytest.mark.parametrize("text", BAD)
def test_no_service_keeps_characters_that_cannot_be_shown(reader: User, sheet: Sheet, text: str) -> None:
    by = made_moderator()
    at: dict[str, Any] = {"target_kind": "sheet", "target_uuid": sheet.uuid}
    refused(lambda: dispute_open(by=reader, reason=text, **at))
    refused(lambda: sheet_withdraw(by=reader, sheet=sheet, reason=text))
    refused(lambda: decide(by=by, kind="set_aside_sheet", reason=text, **at))


def test_lines_of_a_text_stay(reader: User, sheet: Sheet) -> None:
    dispute = dispute_open(by=reader, reason=" one\r\n\ttwo ", target_kind="sheet", target_uuid=sheet.uuid)
    assert Dispute.objects.get(pk=dispute.pk).reason == "one\r\n\ttwo"


@pytest.mark.parametrize("act", ["withdraw", "dispute", "workshop", "words"])
def test_no_form_brings_a_nul(client: Client, reader: User, sheet: Sheet, act: str) -> None:
    client.force_login(reader)
    address = {
        "withdraw": f"/sheets/{sheet.uuid}/withdraw/",
        "dispute": f"/disputes/new/sheet/{sheet.uuid}/",
        "workshop": "/fleet/",
        "words": "/account/own/",
    }[act]
    answer = client.post(address, {"reason": "a\0b", "name": "a\0b"})
    assert answer.status_code == 400
    assert b"Nothing was stored" in answer.content
    sheet.refresh_from_db()
    assert sheet.withdrawn_at is None and not Dispute.objects.exists()


def test_no_address_brings_a_nul(client: Client) -> None:
    assert client.get("/shared/a%00b/").status_code in (400, 404)
    assert client.get("/jobs/link/a%00b/").status_code in (400, 404)


def test_a_job_keeps_of_a_sheet_what_was_looked_at(reader: User, design: Design) -> None:
    job = job_start(by=reader, body={"symptom": "silent", "design": str(design.uuid)}).job
    body = sheet_body(design)
    body = {
        **body,
        "mark": 1e16,
        "unit": {"tag_code": "t", "x": -0.0},
        "meter": {"lead_ohm": 0.1, "y": 1e300},
    }
    body["readings"][0]["z"] = [1e16]
    unit_bench(by=reader, job=job, of="old", body=body)
    kept = json.dumps(JobSheet.objects.get().body)
    assert "e+" not in kept and "-0.0" not in kept and '"z"' not in kept
    assert JobSheet.objects.get().body["meter"] == {"lead_ohm": 0.1}


@pytest.mark.parametrize(
    ("here", "there"),
    [(1e16, 10**16), (-1e300, -(10**300)), (-0.0, 0.0), (1.5e17, 150000000000000000)],
)
def test_figures_that_the_makers_write_otherwise_are_the_same(here: float, there: float) -> None:
    assert _row_text((1, {"a": [here]}, here)) == _row_text((1, {"a": [there]}, there))


@pytest.mark.parametrize(("here", "there"), [(1e16, 10**16 + 1), (0.0, 1e-300), ("1e+16", 10**16), (2.0, 2)])
def test_other_figures_are_not(here: Any, there: Any) -> None:
    assert _row_text((here,)) != _row_text((there,))
