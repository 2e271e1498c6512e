"""What must hold before a decision is made: a reason, no part in the case, nothing decided meanwhile."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied

from registry.errors import refuse
from registry.models import Decision, Dispute, User
from registry.permissions import is_party
from registry.selectors.parties import SECOND_AFTER_DAYS, parties, proposer_moderates, second_voices
from registry.selectors.seen import case_seen
from registry.services.effects import EFFECTS
from registry.translation import gettext as _

State = Decision.State


def check_stands(decision: Decision, seen: str | None) -> None:
    """That it can be decided about its target, has a reason, and nobody was quicker."""
    effect = EFFECTS.get(decision.kind)
    if effect is None or decision.target_kind not in effect.targets:
        refuse("/kind", "kind_unknown", _("This can't be decided about that."))
    if not decision.reason:
        refuse("/reason", "value_missing", _("A decision needs its reason."), _("Say it in a sentence."))
    check_unchanged(decision, seen, _("Look at the case as it is now; your reason is still in its field."))
    if decision.kind == Decision.Kind.SETTLE_DISPUTE:
        if decision.dispute is None:
            refuse("/dispute", "value_missing", _("Say which dispute is settled."))
        decision.payload.setdefault("outcome", "not_upheld")
    if decision.dispute is not None and decision.dispute.state != Dispute.State.OPEN:
        refuse("/dispute", "dispute_closed", _("This dispute is settled already."))


def check_unchanged(decision: Decision, seen: str | None, advice: str) -> None:
    """That the case is as it was on the screen; `seen` None: it was not looked at on one."""
    if seen is not None and seen != case_seen(decision.target_kind, decision.target_uuid):
        refuse(
            "/seen",
            "case_changed",
            _("Somebody decided or wrote here while you were reading. Nothing was overwritten."),
            advice,
        )


def check_no_party(by: User, decision: Decision) -> None:
    """Nobody decides in their own case, nor in that of their workshop."""
    if is_party(by, contributors=parties(decision)):
        raise PermissionDenied(
            _("You, or a colleague of your workshop, have a part in this case. Somebody else decides it.")
        )


def check_proposer(decision: Decision) -> None:
    """A second voice is one beside another moderator's: whoever was relieved meanwhile gave none."""
    if not proposer_moderates(decision):
        raise PermissionDenied(_proposer_left())


def _proposer_left() -> str:
    return _("Whoever proposed this doesn't moderate any more. A moderator can refuse it and decide anew.")


def why_no_second(by: User, decision: Decision) -> str:
    """Why this moderator's yes would be no second voice, as a sentence; "" where it is one."""
    if decision.proposer_id == by.pk:
        return _("The second voice must be another moderator's.")
    if not proposer_moderates(decision):
        return _proposer_left()
    if not second_voices().filter(pk=by.pk).exists():
        return _("You can give the second voice {n} days after you became a moderator.").format(
            n=SECOND_AFTER_DAYS
        )
    return ""


def check_once(decision: Decision) -> None:
    """The same is not decided twice."""
    standing = Decision.objects.filter(
        kind=decision.kind,
        target_kind=decision.target_kind,
        target_uuid=decision.target_uuid,
        payload=decision.payload,
        state__in=[State.WAITING, State.IN_FORCE],
    )
    repeatable = (Decision.Kind.SETTLE_DISPUTE, Decision.Kind.KEEP, Decision.Kind.EDIT_DESIGN)
    if decision.kind not in repeatable and standing.exists():
        refuse("/kind", "decided_already", _("This was decided already, or waits for a second voice."))
