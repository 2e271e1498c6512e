"""One of everything, for the matrix of who may do what."""

from __future__ import annotations

from allauth.mfa.models import Authenticator

from registry.models import Decision, Dispute, PartNumber, Target
from registry.services.accounts import contributor_of
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.access_matrix import UNPROVED, World
from tests.registry.moderation.made import account


def made_world() -> World:
    owner, other, moderator = made_user("owner"), made_user("other"), account("desk", moderator=True)
    unproved = account("half", moderator=True)
    Authenticator.objects.create(user=moderator, type=Authenticator.Type.TOTP, data={})
    for user in (owner, other, moderator, unproved):
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
    return World(
        people={
            "guest": None,
            "owner": owner,
            "other": other,
            "moderator": moderator,
            UNPROVED: unproved,
        },
        design=design,
        sheet=sheet,
        dispute=dispute,
        decision=decision,
        part=PartNumber.objects.get(),
    )
