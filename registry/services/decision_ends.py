"""How a decision ends, refused or taken back, and who is told of it."""

from __future__ import annotations

from django.utils import timezone

from registry.errors import refuse
from registry.models import Decision, User
from registry.selectors.parties import may_reply
from registry.services.audit import record
from registry.services.notices import notify
from registry.services.texts import words_of
from registry.translation import gettext as _


def decision_end(decision: Decision, by: User | None, state: str, reason: str) -> None:
    reason = words_of(reason, "/reason")
    if not reason:
        refuse("/reason", "value_missing", _("Taking back needs its reason too."))
    decision.state, decision.undone_at, decision.undone_by = state, timezone.now(), by
    decision.before["undone_because"] = reason
    decision.save()
    record(by=by, action=f"decision_{state}", target_kind=decision.target_kind,
           target_uuid=decision.target_uuid, decision=str(decision.uuid), kind=decision.kind)  # fmt: skip
    decision_tell(decision, "decision_undone")


def decision_tell(decision: Decision, code: str) -> None:
    user = may_reply(decision)
    notify(user, code, decision=str(decision.uuid), kind=decision.kind, sheet=str(decision.target_uuid),
           reason=decision.reason)  # fmt: skip
