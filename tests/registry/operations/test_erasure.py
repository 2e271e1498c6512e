"""After an erasure the person's address and names stand nowhere: not in one value of one table."""

from __future__ import annotations

import io
import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from axes.models import AccessAttempt, AccessLog
from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from PIL import Image

from api.models import KeptAnswer
from registry.models import (
    Contributor,
    Invitation,
    JobPicture,
    Sheet,
    SheetPicture,
    User,
    Webhook,
    Work,
    Workshop,
)
from registry.services.accounts import account_erase, contributor_of, workshop_join
from registry.services.audit import chain_seal, published_chain
from registry.services.charts import chart_refresh
from registry.services.database_copy import copied_models
from registry.services.decisions import decide, undo
from registry.services.disputes import dispute_open, dispute_write
from registry.services.facts import fact_answer
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.vehicles import vehicle_add
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import step_do
from registry.services.meters import meter_keep
from registry.services.pictures import picture_add
from registry.services.sheets import sheet_amend, sheet_submit, sheet_withdraw
from registry.services.traces import traces_age
from registry.services.webhooks.keeping import webhook_make
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.moderation.made import account

pytestmark = pytest.mark.django_db
EMAIL, WORD = "mara.quill@workshop.example", "a long pass phrase"
SAID = "Mara's word"
NAMES = (
    "mara.quill",
    "Quill and Daughters",
    "Mara's van",
    "Mara's meter",
    "said Mara",
    *(
        f"{SAID} {end}"
        for end in ("here", "then", "again", "so", "to you", "once more", "of it", "it was not")
    ),
    "hooks.quill.example",
    "mara.before@workshop.example",
    "Quill alone",
)


@pytest.fixture
def mara(client: Client, settings: Any) -> User:
    """An account that has left its name wherever it could."""
    settings.BENCHQUORUM_NEW_SHEETS = 0
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    proposer = made_user("proposer")
    design = made_design(proposer)
    theirs = sheet_submit(by=proposer, body=sheet_body(design))
    mara = made_user("mara.quill")
    Client().post("/account/login/", {"login": EMAIL, "password": "wrong word"})
    client.post("/account/login/", {"login": EMAIL, "password": WORD})
    client.post("/account/own/erase/", {"email": EMAIL})  # thought better of it when asked for the word
    workshop_join(by=mara, name="Quill alone")
    workshop_join(by=mara, name="Quill and Daughters")
    EmailAddress.objects.create(user=mara, email="mara.before@workshop.example")
    body = sheet_body(design, meter={"name": "Mara's meter", "limit_ohm": 2e7}, note=f"{SAID} here")
    sheet = sheet_submit(by=mara, body=body)
    sheet_amend(by=mara, sheet=sheet, on_version=1, body=body, reason=f"{SAID} then")
    file = io.BytesIO()
    Image.new("RGB", (40, 30)).save(file, "JPEG")
    picture_add(by=mara, sheet=sheet, upload=SimpleUploadedFile("plug.jpg", file.getvalue()))
    taken = sheet_submit(by=mara, body=sheet_body(design, unit={"key": "another"}))
    sheet_withdraw(by=mara, sheet=taken, reason=f"{SAID} again")
    dispute = dispute_open(by=mara, target_kind="design", target_uuid=design.uuid, reason=f"{SAID} so")
    dispute_open(by=mara, target_kind="sheet", target_uuid=theirs.uuid, reason=f"{SAID} to you")
    dispute_write(by=mara, dispute=dispute, text=f"{SAID} once more")
    about_fact = {"question": "minutes", "quantity": 40, "source": "did_it", "note": f"{SAID} of it"}
    fact_answer(by=mara, design=design, body=about_fact)
    desk = account("desk", moderator=True)
    act = decide(by=desk, kind="suspend", target_kind="account",
                 target_uuid=contributor_of(mara).uuid, reason="Odd.")  # fmt: skip
    mara.refresh_from_db()
    appeal = {"target_kind": "account", "target_uuid": contributor_of(mara).uuid}
    dispute_open(by=mara, reason=f"{SAID} it was not", **appeal)
    undo(by=desk, decision=act, reason="Not odd.")
    mara.refresh_from_db()
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


def test_nothing_names_the_person_any_more(
    mara: User, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    before = everything()
    assert [name for name in (EMAIL, *NAMES) if name not in before] == []
    assert AccessAttempt.objects.exists() and AccessLog.objects.exists() and Session.objects.exists()
    pseudonym = contributor_of(mara).pseudonym
    picture = SheetPicture.objects.get().image
    with django_capture_on_commit_callbacks(execute=True):
        account_erase(by=mara)
    assert not picture.storage.exists(picture.name)
    after = everything()
    assert [name for name in (EMAIL, *NAMES) if name in after] == []
    kept = Contributor.objects.get(pseudonym=pseudonym)
    assert kept.sheets.count() == 2 and kept.workshop is not None
    assert not any(model.objects.exists() for model in (Webhook, Work, KeptAnswer, JobPicture, SheetPicture))


def test_a_workshop_keeps_its_name_as_long_as_a_colleague_is_there(mara: User) -> None:
    colleague = made_user("colleague")
    workshop_join(by=colleague, name="Quill and Daughters")
    account_erase(by=mara)
    assert Workshop.objects.filter(name="Quill and Daughters").exists()
    account_erase(by=colleague)
    assert not Workshop.objects.filter(name="Quill and Daughters").exists()
    assert Sheet.objects.count() == 3


def test_sign_ins_are_forgotten_after_a_month(mara: User) -> None:
    assert traces_age() == 0
    AccessLog.objects.update(attempt_time=timezone.now() - timedelta(days=31))
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(days=31))
    Session.objects.update(expire_date=timezone.now() - timedelta(days=1))
    assert traces_age() >= 3
    assert not AccessLog.objects.exists() and not Session.objects.exists()
