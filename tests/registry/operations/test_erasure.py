"""After an erasure the person's address and names stand nowhere: not in one value of one table."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from typing import Any

import pytest
from axes.models import AccessAttempt, AccessLog
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from api.models import KeptAnswer
from registry.models import Contributor, Invitation, JobPicture, Sheet, User, Webhook, Work, Workshop
from registry.services.accounts import account_erase, contributor_of, workshop_join
from registry.services.audit import chain_seal, published_chain
from registry.services.charts import chart_refresh
from registry.services.database_copy import copied_models
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.vehicles import vehicle_add
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import step_do
from registry.services.meters import meter_keep
from registry.services.sheets import sheet_submit
from registry.services.traces import traces_age
from registry.services.webhooks import webhook_make
from tests.api.made import made_design, made_user, sheet_body

pytestmark = pytest.mark.django_db
EMAIL, WORD = "mara.quill@workshop.example", "a long pass phrase"
NAMES = (
    "mara.quill",
    "Quill and Daughters",
    "Mara's van",
    "Mara's meter",
    "said Mara",
    "hooks.quill.example",
)


@pytest.fixture
def mara(client: Client, settings: Any) -> User:
    """An account that has left its name wherever it could."""
    settings.BENCHQUORUM_NEW_SHEETS = 0
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    design = made_design(made_user("proposer"))
    mara = made_user("mara.quill")
    Client().post("/account/login/", {"login": EMAIL, "password": "wrong word"})
    client.post("/account/login/", {"login": EMAIL, "password": WORD})
    client.post("/account/own/erase/", {"email": EMAIL})  # thought better of it when asked for the word
    workshop_join(by=mara, name="Quill and Daughters")
    sheet_submit(by=mara, body=sheet_body(design, meter={"name": "Mara's meter", "limit_ohm": 2e7}, note=""))
    meter_keep(by=mara, body={"name": "Mara's meter 2"})
    fleet = organisation_make(by=mara, body={"name": "Quill and Daughters"})
    vehicle_add(by=mara, organisation=fleet, body={"label": "Mara's van", "km": 3})
    about = {"symptom": "silent", "vehicle": "Mara's van", "design": design.name, "note": "said Mara"}
    job = job_start(by=mara, body=about).job
    step_do(by=mara, job=job, step="ruled_out", body={"checks": {"battery": 1}, "note": "said Mara"})
    webhook_make(by=mara, body={"url": "https://hooks.quill.example/in"})
    Work.objects.create(user=mara, kind=Work._meta.get_field("kind").choices[0][0], asked={"content": EMAIL})
    Invitation.objects.create(
        email=EMAIL, digest="d" * 64, expires_at=timezone.now() + timedelta(days=1), made_by=None
    )
    headers = {"Idempotency-Key": str(uuid.uuid4())}
    client.post("/api/v1/jobs/", about, content_type="application/json", headers=headers)
    chart_refresh(design_id=design.pk)
    chain_seal()
    return mara


def test_the_published_chain_never_named_her(mara: User) -> None:
    text = json.dumps(list(published_chain()), ensure_ascii=False)
    assert "job" in text or "vehicle" in text  # her deeds are in it
    assert [word for word in (EMAIL, *NAMES, str(mara.uuid)) if word in text] == []


def everything() -> str:
    """The whole database as text, sessions opened."""
    rows = [str(list(model._base_manager.values_list())) for model in copied_models()]
    rows += [json.dumps(session.get_decoded(), default=str) for session in Session.objects.all()]
    return "\n".join(rows).replace("\\'", "'")


def test_nothing_names_the_person_any_more(mara: User) -> None:
    before = everything()
    assert [name for name in (EMAIL, *NAMES) if name not in before] == []
    assert AccessAttempt.objects.exists() and AccessLog.objects.exists() and Session.objects.exists()
    pseudonym = contributor_of(mara).pseudonym
    account_erase(by=mara)
    after = everything()
    assert [name for name in (EMAIL, *NAMES) if name in after] == []
    kept = Contributor.objects.get(pseudonym=pseudonym)
    assert kept.sheets.count() == 1 and kept.workshop is not None
    assert not any(model.objects.exists() for model in (Webhook, Work, KeptAnswer, JobPicture))


def test_a_workshop_keeps_its_name_as_long_as_a_colleague_is_there(mara: User) -> None:
    colleague = made_user("colleague")
    workshop_join(by=colleague, name="Quill and Daughters")
    account_erase(by=mara)
    assert Workshop.objects.filter(name="Quill and Daughters").exists()
    account_erase(by=colleague)
    assert not Workshop.objects.filter(name="Quill and Daughters").exists()
    assert Sheet.objects.count() == 1


def test_sign_ins_are_forgotten_after_a_month(mara: User) -> None:
    assert traces_age() == 0
    AccessLog.objects.update(attempt_time=timezone.now() - timedelta(days=31))
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(days=31))
    Session.objects.update(expire_date=timezone.now() - timedelta(days=1))
    assert traces_age() >= 3
    assert not AccessLog.objects.exists() and not Session.objects.exists()
