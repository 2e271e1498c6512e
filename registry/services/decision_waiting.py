"""What a decision waits for: the contributor's time to answer, a second moderator, or a stated time.

The time stands in for a second moderator where there is none, except where one moderator would silence
another: of two, each could else be rid of the other by proposing first.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial

from django.conf import settings
from django.utils import timezone

from registry.models import Decision, Dispute, User
from registry.selectors.parties import may_reply, seconds_for
from registry.services.audit import record
from registry.services.decision_charts import charts_ahead
from registry.services.effects import EFFECTS

State = Decision.State


def set_waiting(decision: Decision, by: User) -> None:
    """What the decision waits for: `effective_at` a time, `needs_second` another moderator."""
    effect = EFFECTS[decision.kind]
    ahead = charts_ahead(decision, partial(_try, decision))
    decision.needs_second = effect.needs_second(decision) or ahead.touch_start
    decision.before["approves"] = ahead.evidence
    now = timezone.now()
    until = _reply_until(decision, now)
    if until is not None:
        decision.before["reply_until"] = until.isoformat()
        decision.effective_at = until
    if decision.needs_second:
        wait_for_second(decision, by)


def wait_for_second(decision: Decision, by: User) -> None:
    """For another moderator; where there is none, for the stated time, if one may stand in."""
    decision.needs_second = True
    if not EFFECTS[decision.kind].by_person and not seconds_for(decision, by):
        decision.before["alone"] = True
        alone = timezone.now() + waiting_time()
        decision.effective_at = max(decision.effective_at or alone, alone)


def wait_anew(decision: Decision) -> None:
    """For another moderator from now on: the voice, or the time, that it had is none."""
    decision.approver = None
    decision.before.pop("alone", None)
    until = decision.before.get("reply_until")
    decision.effective_at = None if until is None else datetime.fromisoformat(until)
    decision.save()
    record(by=None, action="decision_waits_anew", target_kind=decision.target_kind,
           target_uuid=decision.target_uuid, decision=str(decision.uuid))  # fmt: skip


def _try(decision: Decision) -> None:
    """The decision in force, for the preview only."""
    trial = Decision(**{f.attname: getattr(decision, f.attname) for f in Decision._meta.concrete_fields})
    trial.payload, trial.before, trial.state = {**decision.payload}, {**decision.before}, State.IN_FORCE
    trial.save()
    EFFECTS[trial.kind].apply(trial)


def waiting_time() -> timedelta:
    """The right of reply, and the second voice of a registry with one moderator."""
    return timedelta(days=settings.BENCHQUORUM_REPLY_DAYS)


def _reply_until(decision: Decision, now: datetime) -> datetime | None:
    """End of the right of reply; it began when the contributor was first told, by a dispute or by this."""
    if may_reply(decision) is None:
        return None
    told = (
        Dispute.objects.filter(
            target_kind=decision.target_kind, target_uuid=decision.target_uuid, reply_until__isnull=False
        )
        .exclude(state=Dispute.State.TAKEN_BACK)
        .order_by("reply_until")
        .values_list("reply_until", flat=True)
        .first()
    )
    until = told or now + waiting_time()
    return until if until > now else None
