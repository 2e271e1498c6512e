"""One of everything, for the matrix of who may do what."""

from __future__ import annotations

import io
from datetime import timedelta
from functools import partial

from allauth.account.models import EmailAddress, EmailConfirmationHMAC
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from registry.models import Decision, Dispute, JobFact, PartNumber, Target, User
from registry.services.accounts import contributor_of
from registry.services.charts import chart_refresh
from registry.services.facts import fact_answer
from registry.services.fleet.organisations import feed_make, member_invite, organisation_make
from registry.services.invitations import invitation_make
from registry.services.jobs.starting import job_start
from registry.services.notices import stop_address
from registry.services.own_evidence import own_chart_link
from registry.services.pictures import picture_add
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.access_matrix import UNPROVED, World
from tests.registry.moderation.made import account

WORD = "a long pass phrase"


def _kept(links: list[str], token: str) -> str:
    links.append(token)
    return token


def made_world() -> World:
    owner, other, moderator = made_user("owner"), made_user("other"), account("desk", moderator=True)
    unproved, suspended = account("half", moderator=True, password=WORD), made_user("suspended")
    Authenticator.objects.create(user=moderator, type=Authenticator.Type.TOTP, data={})
    RecoveryCodes.activate(moderator)
    address = EmailAddress.objects.create(user=owner, email=owner.email, primary=True)
    for user in (owner, other, moderator, unproved, suspended):
        contributor_of(user)
    design = made_design(owner)
    sheet = sheet_submit(by=owner, body=sheet_body(design))
    chart_refresh(design_id=design.pk)
    dispute = Dispute.objects.create(
        target_kind=Target.SHEET, target_uuid=sheet.uuid, opened_by=owner, reason="the plug was dirty"
    )
    decision = Decision.objects.create(
        kind=Decision.Kind.KEEP,
        target_kind=Target.SHEET,
        target_uuid=sheet.uuid,
        reason="read again",
        proposer=moderator,
        state=Decision.State.IN_FORCE,
    )
    waiting = Decision.objects.create(
        kind=Decision.Kind.SET_ASIDE,
        target_kind=Target.SHEET,
        target_uuid=sheet.uuid,
        reason="worn leads",
        proposer=moderator,
        state=Decision.State.WAITING,
        effective_at=timezone.now() + timedelta(days=7),
    )
    file = io.BytesIO()
    Image.new("RGB", (40, 30)).save(file, "JPEG")
    picture_add(by=owner, sheet=sheet, upload=SimpleUploadedFile("plug.jpg", file.getvalue()))
    fact_answer(by=owner, design=design, body={"question": "minutes", "quantity": 40, "source": "did_it"})
    fleet = organisation_make(by=owner, body={"name": "Marsh Quay"})
    invited: list[str] = []
    invitation_make(by=None, email="elsewhere@workshop.example", link=partial(_kept, invited))
    User.objects.filter(pk=suspended.pk).update(suspended_at=timezone.now())
    return World(
        links={
            "own_shared": own_chart_link(contributor_of(owner), design),
            "mail_stop": stop_address(owner).rstrip("/").rsplit("/", 1)[1],
            "job_link": job_start(by=None, body={"symptom": "silent"}).token,
            "invitation": invited[0],
            "account_confirm_email": EmailConfirmationHMAC(address).key,
            "fleet_feed": feed_make(by=owner, organisation=fleet),
            "fleet_join": member_invite(by=owner, organisation=fleet, role="worker"),
        },
        objects={
            "decision_agree": waiting.uuid,
            "dispute_new": sheet.uuid,
            "own_design": design.uuid,
            "api_fact_answer": JobFact.objects.get().uuid,
        },
        people={
            "guest": None,
            "owner": owner,
            "other": other,
            "suspended": suspended,
            "moderator": moderator,
            UNPROVED: unproved,
        },
        design=design,
        sheet=sheet,
        dispute=dispute,
        decision=decision,
        part=PartNumber.objects.get(),
    )
