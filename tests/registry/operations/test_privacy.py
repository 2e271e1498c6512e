"""Who has an account stays untold; what is private leaves by no way; production settings pass the check."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from registry.models import Contributor, Design, Sheet, User
from registry.services.accounts import account_erase, contributor_of, workshop_join
from registry.services.audit import chain_seal, published_chain
from registry.services.chain_file import chain_publish
from registry.services.charts import chart_refresh
from registry.services.exports import export_tidy
from registry.services.lives.cohorts import fleet_say
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).parents[3]
PRIVATE = ("reader@workshop.example", "555 0100", "Quay Street Depot", "my own meter")


@pytest.fixture
def sheet() -> Sheet:
    design = made_design(made_user("proposer"))
    reader = made_user()
    workshop_join(by=reader, name="Quay Street Depot")
    sheet = sheet_submit(by=reader, body=sheet_body(design, meter={"name": "my own meter", "limit_ohm": 2e7}))
    chart_refresh(design_id=design.pk)
    chain_seal()
    return sheet


def public_addresses(design: Design) -> list[str]:
    at = str(design.uuid)
    return [
        "/",
        "/about/",
        "/designs/",
        f"/designs/{at}/",
        f"/designs/{at}/revisions/1/",
        "/api/v1/schema/",
        "/api/v1/designs/",
        f"/api/v1/designs/{at}/",
        "/api/v1/charts/",
        f"/api/v1/charts/{at}/",
        f"/api/v1/charts/{at}/revisions/",
        f"/api/v1/charts/{at}/revisions/1/",
        f"/api/v1/charts/{at}/readings/",
        f"/api/v1/charts/{at}/revisions/1/readings/",
        "/api/v1/submissions/",
        "/api/v1/findings/",
    ]


def test_nothing_private_at_any_public_address(client: Client, sheet: Sheet) -> None:
    user = sheet.contributor.user
    assert user is not None
    addresses = [
        *public_addresses(sheet.design),
        f"/api/v1/submissions/{sheet.uuid}/",
        f"/sheets/{sheet.uuid}/",
    ]
    read = 0
    for address in addresses:
        answer = client.get(address)
        text = b"".join(answer).decode() if answer.streaming else answer.content.decode()
        read += answer.status_code == 200
        for private in (*PRIVATE, str(user.uuid)):
            assert private not in text, (address, private)
    assert read >= 12


def test_nothing_private_in_export_chart_or_chain(sheet: Sheet) -> None:
    inputs = sheet.design.revisions.get().inputs
    texts = ["".join(export_tidy()), json.dumps(inputs), json.dumps(list(published_chain()))]
    for text in texts:
        for private in PRIVATE:
            assert private not in text


def test_nothing_private_in_the_published_file(
    client: Client, sheet: Sheet, settings: Any, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path
    reader = sheet.contributor.user
    assert reader is not None
    fleet_say(by=reader, units=417)
    chain_publish()
    text = b"".join(client.get("/open-data/audit.jsonl")).decode()
    assert str(sheet.uuid) in text
    assert [private for private in (*PRIVATE, str(reader.uuid)) if private in text] == []
    entries = [json.loads(line) for line in text.splitlines()]
    assert [entry["detail"] for entry in entries if entry["action"] == "fleet_say"] == [{}]


def test_erasure_leaves_the_readings_and_no_way_to_the_person(sheet: Sheet) -> None:
    reader = sheet.contributor.user
    assert reader is not None
    account_erase(by=reader)
    assert not User.objects.filter(email="reader@workshop.example").exists()
    contributor = Contributor.objects.get(pk=sheet.contributor_id)
    assert contributor.user is None
    assert [meter.name for meter in contributor.meters.all()] == ["meter"]
    assert Sheet.objects.filter(pk=sheet.pk).exists()
    assert [version.made_by for version in sheet.versions.all()] == [None]


def shape(answer: Any) -> tuple[Any, ...]:
    """All that somebody outside sees, without what changes with every page and the address typed."""
    text = re.sub(r'(csrfmiddlewaretoken" value=|nonce=)"[^"]*"', "", answer.content.decode())
    return answer.status_code, answer.headers.get("Location"), re.sub(r"\S+@workshop\.example", "", text)


@pytest.mark.parametrize("page", ["account_signup", "account_reset_password", "account_login"])
def test_known_and_unknown_address_get_the_same_answer(page: str, settings: Any) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"
    cache.clear()  # another test may have had a mail sent to this address within the last three minutes
    contributor_of(made_user("known"))
    answers = []
    for name in ("known", "unknown"):
        email, word = f"{name}@workshop.example", "another long pass phrase"
        fields = {"email": email, "login": email, "password": word, "password1": word, "password2": word}
        answers.append(shape(Client().post(reverse(page), fields)))
    assert answers[0] == answers[1]
    if page != "account_login":
        assert {message.to[0] for message in mail.outbox} >= {"known@workshop.example"}


@pytest.mark.parametrize(
    ("changed", "warns"),
    [
        ({}, ()),
        ({"BENCHQUORUM_TLS": "false"}, ("W004", "W008", "W012", "W016")),
        ({"BENCHQUORUM_DEBUG": "true"}, ("W018",)),
        ({"BENCHQUORUM_SECRET_KEY": "short"}, ("W009",)),
    ],
    ids=["as in the runbook", "without TLS", "for development", "a short key"],
)
def test_production_settings_alone_pass_the_deployment_check(
    tmp_path: Path, changed: dict[str, str], warns: tuple[str, ...]
) -> None:
    environment = {
        "PATH": os.environ["PATH"],
        "BENCHQUORUM_DATA": str(tmp_path),
        "BENCHQUORUM_SECRET_KEY": "d8Jq-2lPz0" * 6,
        "BENCHQUORUM_TLS": "true",
        "BENCHQUORUM_HOSTS": "registry.example",
        **changed,
    }
    checked = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (checked.returncode == 0) is (not warns), checked.stderr
    assert [warning for warning in warns if f"security.{warning}" not in checked.stderr] == []


def test_security_headers_on_pages(client: Client) -> None:
    answer = client.get("/")
    policy = answer["Content-Security-Policy"]
    assert "script-src 'self'" in policy and "unsafe" not in policy and "object-src 'none'" in policy
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
