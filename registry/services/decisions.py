"""Decisions: events with an exact inverse, laid over the data or written so that they can be taken back.

Nobody decides in their own case; what touches a start position, and withdrawals, need a second moderator;
who is judged has a time to answer first.
"""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from registry.errors import refuse
from registry.models import Decision, Design, Dispute, User
from registry.permissions import require
from registry.selectors.parties import may_reply
from registry.services.audit import record
from registry.services.decision_charts import charts_ahead
from registry.services.decision_checks import check_no_party, check_once, check_stands, check_unchanged
from registry.services.decision_waiting import set_waiting
from registry.services.dispute_states import dispute_reopen, dispute_settle
from registry.services.effects import EFFECTS
from registry.services.effects.base import lock_target
from registry.services.notices import notify
from registry.services.sheets import queue_refresh
from registry.services.texts import words_of
from registry.translation import gettext as _

State = Decision.State


@transaction.atomic
def decide(
    *,
    by: User,
    kind: str,
    target_kind: str,
    target_uuid: UUID,
    reason: str,
    payload: dict[str, Any] | None = None,
    target_cell: dict[str, Any] | None = None,
    dispute: Dispute | None = None,
    seen: str | None = None,
) -> Decision:
    """Decide a case.  In force at once, or waiting for an answer, a second moderator or a stated time.

    seen: `case_seen` as it was on the screen; RegistryErrors with code "case_changed" where it is otherwise
    now.  Raises PermissionDenied for anybody who has a part in the case.
    """
    require(by, "moderate")
    decision = Decision(
        kind=kind,
        target_kind=target_kind,
        target_uuid=target_uuid,
        target_cell=target_cell,
        payload=dict(payload or {}),
        reason=words_of(reason, "/reason"),
        proposer=by,
        dispute=dispute,
        state=State.WAITING,
    )
    lock_target(decision)
    check_stands(decision, seen)
    check_no_party(by, decision)
    EFFECTS[kind].check(decision)
    check_once(decision)
    set_waiting(decision, by)
    decision.save()
    record(
        by=by,
        action=f"decide_{kind}",
        target_kind=target_kind,
        target_uuid=target_uuid,
        decision=str(decision.uuid),
        state=decision.state,
    )
    _go_or_wait(decision)
    return decision


def _go_or_wait(decision: Decision) -> None:
    if not decision.needs_second and decision.effective_at is None:
        take_force(decision)
    else:
        until = decision.effective_at
        notify(
            may_reply(decision),
            "decision_proposed",
            decision=str(decision.uuid),
            kind=decision.kind,
            sheet=str(decision.target_uuid),
            reason=decision.reason,
            until=None if until is None else until.date().isoformat(),
        )


def take_force(decision: Decision) -> None:
    """Write what the decision writes, settle its dispute, tell, and have the charts computed anew."""
    effect = EFFECTS[decision.kind]
    designs = effect.designs(decision)
    effect.apply(decision)
    decision.state = State.IN_FORCE
    decision.effective_at = timezone.now()
    if decision.dispute is not None:
        dispute_settle(decision.dispute, decision)
    decision.save()
    record(
        by=decision.proposer,
        action="decision_in_force",
        target_kind=decision.target_kind,
        target_uuid=decision.target_uuid,
        decision=str(decision.uuid),
        kind=decision.kind,
    )
    if decision.kind != Decision.Kind.ASK_REREAD:
        _tell(decision, "decision_in_force")
    refresh_all(designs | effect.designs(decision))


def _tell(decision: Decision, code: str) -> None:
    user = may_reply(decision)
    notify(user, code, decision=str(decision.uuid), kind=decision.kind, sheet=str(decision.target_uuid),
           reason=decision.reason)  # fmt: skip


def refresh_all(designs: set[int]) -> None:
    for design in Design.objects.filter(pk__in=designs).order_by("pk"):
        queue_refresh(design)


@transaction.atomic
def approve(*, by: User, decision: Decision, seen: str | None = None) -> Decision:
    """The second moderator's yes.  The charts are looked at again: they are what the two answer for."""
    decision = _locked(by, decision, seen)
    if decision.state != State.WAITING or not decision.needs_second or decision.approver_id is not None:
        refuse("/decision", "decision_not_waiting", _("This decision doesn't wait for a second voice."))
    if decision.proposer_id == by.pk:
        raise PermissionDenied(_("The second voice must be another moderator's."))
    EFFECTS[decision.kind].check(decision)
    decision.before["approves"] = charts_ahead(decision, partial(_try_stored, decision)).evidence
    decision.approver = by
    until = decision.before.get("reply_until")
    decision.effective_at = None if until is None else datetime.fromisoformat(until)
    decision.save()
    record(by=by, action="decision_approve", target_kind=decision.target_kind,
           target_uuid=decision.target_uuid, decision=str(decision.uuid))  # fmt: skip
    if decision.effective_at is None or decision.effective_at <= timezone.now():
        take_force(decision)
    return decision


def _try_stored(decision: Decision) -> None:
    Decision.objects.filter(pk=decision.pk).update(state=State.IN_FORCE)
    trial = Decision.objects.get(pk=decision.pk)
    EFFECTS[trial.kind].apply(trial)


@transaction.atomic
def refuse_decision(*, by: User, decision: Decision, reason: str, seen: str | None = None) -> Decision:
    """The second moderator's no, or its proposer taking back what hasn't taken effect."""
    decision = _locked(by, decision, seen)
    if decision.state != State.WAITING:
        refuse("/decision", "decision_not_waiting", _("This decision doesn't wait any more."))
    _end(decision, by, State.REFUSED, reason)
    return decision


@transaction.atomic
def agree(*, by: User, decision: Decision) -> Decision:
    """The contributor says that the decision about their sheet is right: their time to answer is over."""
    decision = Decision.objects.select_for_update().get(pk=decision.pk)
    if decision.state != State.WAITING or may_reply(decision) != by:
        raise PermissionDenied(_("Only the contributor of the sheet can agree, while the decision waits."))
    decision.before.pop("reply_until", None)
    if not decision.needs_second or decision.approver_id is not None:
        decision.effective_at = None
    decision.save()
    record(by=by, action="decision_agree", target_kind=decision.target_kind,
           target_uuid=decision.target_uuid, decision=str(decision.uuid))  # fmt: skip
    if decision.effective_at is None and (not decision.needs_second or decision.approver_id is not None):
        take_force(decision)
    return decision


@transaction.atomic
def undo(*, by: User, decision: Decision, reason: str, seen: str | None = None) -> Decision:
    """The exact inverse.  Charts go back to the digest that they had, readings were never touched."""
    decision = _locked(by, decision, seen)
    if decision.state == State.WAITING:
        _end(decision, by, State.REFUSED, reason)
        return decision
    if decision.state != State.IN_FORCE:
        refuse("/decision", "decision_not_in_force", _("This decision was taken back already."))
    effect = EFFECTS[decision.kind]
    designs = effect.designs(decision)
    ahead = charts_ahead(decision, partial(_take_back, decision))
    if not ahead.touch_start:  # otherwise the chart waits for a second moderator, as any other would
        decision.before["undo_approves"] = ahead.evidence
    effect.reverse(decision)
    if decision.dispute is not None:
        dispute_reopen(decision.dispute, decision)
    _end(decision, by, State.UNDONE, reason)
    refresh_all(designs | effect.designs(decision))
    return decision


def _take_back(decision: Decision) -> None:
    Decision.objects.filter(pk=decision.pk).update(state=State.UNDONE)
    EFFECTS[decision.kind].reverse(decision)


def _locked(by: User, decision: Decision, seen: str | None) -> Decision:
    require(by, "moderate")
    decision = Decision.objects.select_for_update(of=("self",)).select_related("dispute").get(pk=decision.pk)
    check_unchanged(decision, seen, _("Look at the case as it is now."))
    check_no_party(by, decision)
    return decision


def _end(decision: Decision, by: User, state: str, reason: str) -> None:
    reason = words_of(reason, "/reason")
    if not reason:
        refuse("/reason", "value_missing", _("Taking back needs its reason too."))
    decision.state, decision.undone_at, decision.undone_by = state, timezone.now(), by
    decision.before["undone_because"] = reason
    decision.save()
    record(by=by, action=f"decision_{state}", target_kind=decision.target_kind,
           target_uuid=decision.target_uuid, decision=str(decision.uuid), kind=decision.kind)  # fmt: skip
    _tell(decision, "decision_undone")
