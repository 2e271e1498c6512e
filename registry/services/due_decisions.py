"""What a clock owes the decisions that wait: those whose time has come take effect."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import Decision
from registry.selectors.parties import proposer_moderates, seconds_for
from registry.services.audit import record
from registry.services.decision_waiting import waiting_time
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
    second = not decision.needs_second or decision.approver_id is not None or decision.before.get("alone")
    if decision.state != State.WAITING or not second:
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


def _nobody_left() -> None:
    """A second voice that nobody can give any more becomes a waiting time."""
    stuck = Decision.objects.filter(
        state=State.WAITING, needs_second=True, approver=None, effective_at=None, proposer__isnull=False
    )
    for pk in list(stuck.values_list("pk", flat=True)):
        with transaction.atomic():
            decision = stuck.select_for_update(of=("self",), no_key=True).filter(pk=pk).first()
            if decision is None or decision.proposer is None or seconds_for(decision, decision.proposer):
                continue
            decision.before["alone"] = True
            decision.effective_at = timezone.now() + waiting_time()
            decision.save(update_fields=["before", "effective_at"])
