"""Disputes: one kind of thing, whatever is disputed.  Opened with a reason, taken back or settled."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryError, refuse
from registry.models import (
    ChartRevision,
    Connector,
    Contributor,
    Decision,
    Design,
    Dispute,
    DisputeMessage,
    JobFact,
    PartNumber,
    Position,
    Sheet,
    Target,
    User,
)
from registry.permissions import is_moderator, may, require
from registry.selectors.labels import DesignLabels
from registry.selectors.parties import parties
from registry.services.accounts import contributor_held
from registry.services.allowance import disputes_require
from registry.services.audit import record
from registry.services.effects.base import counted_in, routing
from registry.services.notices import notify
from registry.services.refreshes import queue_refreshes
from registry.services.texts import words_of
from registry.translation import gettext as _

LONGEST = 4000
MODELS: dict[str, Any] = {
    Target.SHEET: Sheet,
    Target.CELL: Design,
    Target.DESIGN: Design,
    Target.REVISION: ChartRevision,
    Target.PART_NUMBER: PartNumber,
    Target.POSITION: Position,
    Target.ACCOUNT: Contributor,
    Target.FACT: JobFact,
}


@transaction.atomic
def dispute_open(
    *,
    by: User,
    target_kind: str,
    target_uuid: UUID,
    reason: str,
    target_cell: dict[str, Any] | None = None,
) -> Dispute:
    """Dispute a sheet, a cell, a design's data or an account's suspension (an appeal, by its owner alone).

    target_cell: {"position", "between", "pin", "against"}, labels of the design; for a cell only.  Whoever is
    disputed is told and has BENCHQUORUM_REPLY_DAYS to answer before a decision takes effect.
    """
    appeal = target_kind == Target.ACCOUNT
    if not (appeal and by.is_active and _is_own(by, target_uuid)):
        require(by, "dispute")
        if appeal:
            raise PermissionDenied(_("Only the account's owner can appeal."))
    contributor_held(by)  # one dispute of theirs at a time; and who disputes is known as a party to the case
    text = _text(reason, "/reason")
    _target(target_kind, target_uuid)
    cell = _cell(target_uuid, target_cell) if target_kind == Target.CELL else None
    own = Dispute.objects.filter(
        opened_by=by, target_kind=target_kind, target_uuid=target_uuid, state=Dispute.State.OPEN
    )
    if any(dispute.target_cell == cell for dispute in own):
        refuse(
            "/target",
            "dispute_open",
            _("You dispute this already."),
            _("Write what is new into that thread."),
        )
    if not appeal:
        disputes_require(by)
    dispute = Dispute.objects.create(
        target_kind=target_kind,
        target_uuid=target_uuid,
        target_cell=cell,
        opened_by=by,
        reason=text,
        reply_until=timezone.now() + timedelta(days=settings.BENCHQUORUM_REPLY_DAYS),
    )
    _tell_owner(dispute)
    record(by=by, action="dispute_open", target_kind=target_kind, target_uuid=target_uuid,
           dispute=str(dispute.uuid))  # fmt: skip
    _refresh(dispute)
    return dispute


def _is_own(by: User, contributor: UUID) -> bool:
    return Contributor.objects.filter(uuid=contributor, user=by).exists()


def _text(text: str, field: str) -> str:
    text = words_of(text, field, longest=LONGEST)
    if not text:
        refuse(field, "value_missing", _("This is empty."), _("Say in a sentence what is wrong, and why."))
    return text


def _target(kind: str, uuid: UUID) -> None:
    model = MODELS.get(kind)
    if model is None or kind == Target.POSITION or not model.objects.filter(uuid=uuid).exists():
        refuse("/target", "target_unknown", _("What you dispute is not here."))


def _cell(design: UUID, cell: dict[str, Any] | None) -> dict[str, Any]:
    """The place by the labels of the design, the common last, so that one place has one name."""
    labels = DesignLabels(Design.objects.get(uuid=design))
    given = cell or {}
    try:
        position = labels.position(str(given.get("position", "")))
        pins = [labels.pin(str(given.get(name, ""))) for name in ("pin", "against")]
    except RegistryError as error:
        refuse("/target_cell", error.code, error.message, error.advice)
    if pins[0] == pins[1]:
        refuse("/target_cell", "same_pin", _("A cell is between two pins."))
    common = Connector.objects.filter(design__uuid=design).values_list("common_id", flat=True).first()
    pins.sort(key=lambda pin: (pin.pk == common, pin.order))
    return {
        "position": position.label,
        "between": bool(given.get("between", False)),
        "pin": pins[0].label,
        "against": pins[1].label,
    }


def _tell_owner(dispute: Dispute) -> None:
    about = Decision(kind="keep", target_kind=dispute.target_kind, target_uuid=dispute.target_uuid)
    if dispute.target_kind != Target.SHEET:
        return
    sheet = Sheet.objects.select_related("contributor__user", "design").get(uuid=about.target_uuid)
    if sheet.contributor.user_id != dispute.opened_by_id:
        notify(
            sheet.contributor.user,
            "sheet_disputed",
            dispute=str(dispute.uuid),
            sheet=str(sheet.uuid),
            design=sheet.design.name,
            reason=dispute.reason,
            until=None if dispute.reply_until is None else dispute.reply_until.date().isoformat(),
        )


def _refresh(dispute: Dispute) -> None:
    if dispute.target_kind == Target.CELL:
        queue_refreshes(counted_in(None, dispute.target_uuid, routing()))


def may_write(user: User, dispute: Dispute) -> bool:
    """The thread is for who opened it, whom it concerns, and moderators; a suspended one may still answer."""
    if not user.is_authenticated or not user.is_active:
        return False
    if dispute.opened_by_id == user.pk or is_moderator(user):
        return True
    about = Decision(kind="keep", target_kind=dispute.target_kind, target_uuid=dispute.target_uuid)
    return any(person.user_id == user.pk for person in parties(about)) or (
        dispute.target_kind != Target.ACCOUNT and may(user, "dispute")
    )


@transaction.atomic
def dispute_write(*, by: User, dispute: Dispute, text: str) -> DisputeMessage:
    """A message in the thread; the others in it are told."""
    if not may_write(by, dispute):
        raise PermissionDenied(_("Sign in to write in this thread."))
    dispute = Dispute.objects.select_for_update(no_key=True).get(pk=dispute.pk)
    if dispute.state != Dispute.State.OPEN:
        refuse("/text", "dispute_closed", _("This dispute is closed."), _("Open a new one if need be."))
    message = DisputeMessage.objects.create(dispute=dispute, written_by=by, text=_text(text, "/text"))
    others = {*dispute.messages.values_list("written_by", flat=True), dispute.opened_by_id}
    for user in User.objects.filter(pk__in=[pk for pk in others if pk not in (None, by.pk)]):
        notify(user, "dispute_answered", dispute=str(dispute.uuid))
    record(by=by, action="dispute_write", target_kind=dispute.target_kind, target_uuid=dispute.target_uuid,
           dispute=str(dispute.uuid))  # fmt: skip
    return message


@transaction.atomic
def dispute_take_back(*, by: User, dispute: Dispute) -> Dispute:
    """Who opened a dispute takes it back; the thread stays to be read."""
    dispute = Dispute.objects.select_for_update(no_key=True).get(pk=dispute.pk)
    if dispute.opened_by_id != by.pk:
        raise PermissionDenied(_("Only who opened a dispute can take it back."))
    if dispute.state != Dispute.State.OPEN:
        refuse("/dispute", "dispute_closed", _("This dispute is closed."))
    dispute.state = Dispute.State.TAKEN_BACK
    dispute.save(update_fields=["state"])
    record(by=by, action="dispute_take_back", target_kind=dispute.target_kind,
           target_uuid=dispute.target_uuid, dispute=str(dispute.uuid))  # fmt: skip
    _refresh(dispute)
    return dispute
