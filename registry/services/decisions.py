"""Decisions: events with an exact inverse, laid over the data or written so that they can be taken back.

Nobody decides in their own case; what touches a start position, and withdrawals, need a second moderator,
and so does taking such a decision back; who is judged has a time to answer first.
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
from registry.models import Decision, Dispute, Target, User
from registry.permissions import require
from registry.selectors.parties import may_reply, second_moderates
from registry.services.audit import record
from registry.services.decision_charts import charts_ahead
from registry.services.decision_checks import (
    check_no_party,
    check_once,
    check_proposer,
    check_stands,
    check_unchanged,
    why_no_second,
)
from registry.services.decision_ends import decision_end, decision_tell
from registry.services.decision_waiting import set_waiting, wait_anew, wait_for_second
from registry.services.dispute_states import dispute_settle
from registry.services.effects import EFFECTS, taken_back, undo_needs_second
from registry.services.effects.accounts import account_of
from registry.services.effects.base import lock_target
from registry.services.notices import notify
from registry.services.refreshes import queue_refreshes
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
        return
    until = None if decision.effective_at is None else decision.effective_at.date().isoformat()
    said = {"kind": decision.kind, "reason": decision.reason, "until": until}
    notify(may_reply(decision), "decision_proposed", decision=str(decision.uuid),
           sheet=str(decision.target_uuid), **said)  # fmt: skip
    if decision.target_kind == Target.ACCOUNT:
        notify(account_of(decision), "role_proposed", **said)


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
        decision_tell(decision, "decision_in_force")
    refresh_all(designs | effect.designs(decision))


def refresh_all(designs: set[int]) -> None:
    queue_refreshes(designs)


@transaction.atomic
def approve(*, by: User, decision: Decision, seen: str | None = None) -> Decision:
    """The second moderator's yes.  The charts are looked at again: they are what the two answer for."""
    decision = _locked(by, decision, seen)
    if decision.state != State.WAITING or not decision.needs_second or decision.approver_id is not None:
        refuse("/decision", "decision_not_waiting", _("This decision doesn't wait for a second voice."))
    why = why_no_second(by, decision)
    if why:
        raise PermissionDenied(why)
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
    decision_end(decision, by, State.REFUSED, reason)
    return decision


@transaction.atomic
def agree(*, by: User, decision: Decision) -> Decision:
    """The contributor says that the decision about their sheet is right: their time to answer is over."""
    decision = Decision.objects.select_for_update(no_key=True).get(pk=decision.pk)
    lock_target(decision)
    if decision.state != State.WAITING or may_reply(decision) != by:
        raise PermissionDenied(_("Only the contributor of the sheet can agree, while the decision waits."))
    check_proposer(decision)
    decision.before.pop("reply_until", None)
    if decision.approver_id is not None and not second_moderates(decision):
        wait_anew(decision)
    elif not decision.needs_second or decision.approver_id is not None:
        decision.effective_at = None
    decision.save()
    record(by=by, action="decision_agree", target_kind=decision.target_kind,
           target_uuid=decision.target_uuid, decision=str(decision.uuid))  # fmt: skip
    if decision.effective_at is None and (not decision.needs_second or decision.approver_id is not None):
        take_force(decision)
    return decision


@transaction.atomic
def undo(*, by: User, decision: Decision, reason: str, seen: str | None = None) -> Decision:
    """The exact inverse.  Charts go back to the digest that they had, readings were never touched.

    Answers the decision; or, where one moderator alone can't take it back, the proposal to do so, which
    waits.
    """
    decision = _locked(by, decision, seen)
    if decision.state == State.WAITING:
        decision_end(decision, by, State.REFUSED, reason)
        return decision
    if decision.state != State.IN_FORCE:
        refuse("/decision", "decision_not_in_force", _("This decision was taken back already."))
    if decision.kind == Decision.Kind.UNDO:
        refuse(
            "/decision",
            "undo_stands",
            _("What was taken back stays so."),
            _("Decide the same anew, where it is right after all."),
        )
    effect = EFFECTS[decision.kind]
    designs = effect.designs(decision)
    ahead = charts_ahead(decision, partial(_take_back, decision))
    if undo_needs_second(decision) or ahead.touch_start:
        return _undo_proposed(by, decision, reason, ahead.evidence)
    taken_back(decision, by=by, reason=reason, approves=ahead.evidence)
    refresh_all(designs | effect.designs(decision))
    return decision


def _take_back(decision: Decision) -> None:
    Decision.objects.filter(pk=decision.pk).update(state=State.UNDONE)
    EFFECTS[decision.kind].reverse(decision)


def _undo_proposed(by: User, decision: Decision, reason: str, approves: dict[str, str]) -> Decision:
    """A decision of its own, so that it waits, is agreed to or refused, and shows, as any other."""
    proposal = Decision(
        kind=Decision.Kind.UNDO,
        target_kind=decision.target_kind,
        target_uuid=decision.target_uuid,
        target_cell=decision.target_cell,
        payload={"decision": str(decision.uuid)},
        before={"approves": approves},
        reason=words_of(reason, "/reason"),
        proposer=by,
        state=State.WAITING,
    )
    check_stands(proposal, None)
    check_once(proposal)
    wait_for_second(proposal, by)
    proposal.save()
    record(by=by, action="decide_undo", target_kind=proposal.target_kind, target_uuid=proposal.target_uuid,
           decision=str(proposal.uuid), state=proposal.state)  # fmt: skip
    return proposal


def _locked(by: User, decision: Decision, seen: str | None) -> Decision:
    require(by, "moderate")
    rows = Decision.objects.select_for_update(of=("self",), no_key=True).select_related("dispute")
    decision = rows.get(pk=decision.pk)
    lock_target(decision)
    check_unchanged(decision, seen, _("Look at the case as it is now."))
    check_no_party(by, decision)
    return decision
