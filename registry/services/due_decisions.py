"""What a clock owes the decisions that wait: those whose time has come take effect."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import Decision
from registry.selectors.parties import proposer_moderates, second_moderates
from registry.services.audit import record
from registry.services.decision_waiting import wait_anew, wait_for_second
from registry.services.decisions import take_force
from registry.services.effects import EFFECTS
from registry.services.effects.base import lock_target
from registry.services.one_by_one import OneByOne

State = Decision.State


def apply_due(*, now: datetime | None = None) -> int:
    """Decisions whose time has come take effect; what can't be done any more is refused; how many took.

    Raises SomeFailed, after all of them.
    """
    now = now or timezone.now()
    decisions = OneByOne("decisions that are due")
    due = Decision.objects.filter(state=State.WAITING, effective_at__lte=now).order_by("pk")
    for pk in due.values_list("pk", flat=True):
        decisions.run(partial(_apply_one, pk))
    _nobody_left()
    return decisions.end()


def _apply_one(pk: int) -> bool:
    rows = Decision.objects.select_for_update(of=("self",), no_key=True).select_related("dispute")
    decision = rows.get(pk=pk)
    lock_target(decision)
    if decision.state != State.WAITING or not _has_second(decision):
        return False
    possible = proposer_moderates(decision)
    try:
        EFFECTS[decision.kind].check(decision)
    except RegistryErrors as errors:
        possible = False
        decision.before["refused_because"] = [error.code for error in errors]
    if not possible:
        decision.state = State.REFUSED
        decision.save()
        record(by=None, action="decision_lapsed", target_kind=decision.target_kind,
               target_uuid=decision.target_uuid, decision=str(decision.uuid))  # fmt: skip
        return False
    take_force(decision)
    return True


def _has_second(decision: Decision) -> bool:
    """The second voice where it needs one, or the time that stands in; who gave it must moderate still."""
    if not decision.needs_second:
        return True
    timed = bool(decision.before.get("alone")) and not EFFECTS[decision.kind].by_person
    if second_moderates(decision) or (timed and decision.approver_id is None):
        return True
    if decision.approver_id is not None or "alone" in decision.before:
        wait_anew(decision)
    return False


def _nobody_left() -> None:
    """A second voice that nobody can give any more becomes a waiting time, where one may stand in."""
    stuck = Decision.objects.filter(state=State.WAITING, needs_second=True, approver=None)
    for pk in list(stuck.order_by("pk").values_list("pk", flat=True)):
        with transaction.atomic():
            decision = stuck.select_for_update(of=("self",), no_key=True).filter(pk=pk).first()
            if decision is None or decision.proposer is None or "alone" in decision.before:
                continue
            wait_for_second(decision, decision.proposer)
            if "alone" in decision.before:
                decision.save(update_fields=["before", "effective_at"])
