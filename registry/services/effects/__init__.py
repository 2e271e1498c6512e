"""Every kind of decision with what it needs, does and takes back."""

from __future__ import annotations

from django.db import transaction

from registry.errors import refuse
from registry.models import Decision, Target, User
from registry.selectors.parties import decision_undone
from registry.services.decision_ends import decision_end
from registry.services.dispute_states import dispute_reopen
from registry.services.effects import accounts, catalogue, revisions, sheets
from registry.services.effects.base import Effect, counted_in, routing
from registry.translation import gettext as _


def settled_designs(decision: Decision) -> set[int]:
    """An open dispute about a cell marks it in the chart; settling it takes the mark away."""
    return counted_in(None, decision.target_uuid, routing()) if decision.target_kind == Target.CELL else set()


def undo_needs_second(decision: Decision) -> bool:
    """What two decided is not taken back by one; nor does one alone take away what readers are shown.

    Asked of the decision itself, not of its inverse: a table that comes back, or a cell that is thin by now,
    is nothing to hold a chart for.
    """
    shown = (Decision.Kind.PUBLISH, Decision.Kind.WITHDRAW_REVISION)
    return decision.needs_second or decision.kind in shown or EFFECTS[decision.kind].needs_second(decision)


def taken_back(decision: Decision, *, by: User | None, reason: str, approves: dict[str, str]) -> None:
    """Write the inverse.  approves: the charts that were seen before, by the digest of their evidence."""
    decision.before["undo_approves"] = approves
    EFFECTS[decision.kind].reverse(decision)
    if decision.dispute is not None:
        dispute_reopen(decision.dispute, decision)
    decision_end(decision, by, Decision.State.UNDONE, reason)


def check_undo(decision: Decision) -> None:
    """Tried, too: something may have been changed since that has to be taken back first."""
    undone = decision_undone(decision)
    if undone is None or undone.state != Decision.State.IN_FORCE:
        refuse("/decision", "decision_not_in_force", _("This decision was taken back already."))
    with transaction.atomic():
        EFFECTS[undone.kind].reverse(undone)
        transaction.set_rollback(True)


def undo(decision: Decision) -> None:
    undone = decision_undone(decision)
    assert undone is not None
    approves = decision.before.pop("approves", {})  # of what is undone from now on
    taken_back(undone, by=decision.proposer, reason=decision.reason, approves=approves)


def undo_designs(decision: Decision) -> set[int]:
    undone = decision_undone(decision)
    return set() if undone is None else EFFECTS[undone.kind].designs(undone)


EFFECTS: dict[str, Effect] = {
    **sheets.EFFECTS,
    **revisions.EFFECTS,
    **accounts.EFFECTS,
    **catalogue.EFFECTS,
    Decision.Kind.SETTLE_DISPUTE: Effect(tuple(Target.values), designs=settled_designs),
    Decision.Kind.UNDO: Effect(
        tuple(Target.values),
        check=check_undo,
        apply=undo,
        designs=undo_designs,
        previewed=True,
        needs_second=lambda decision: True,
    ),
}
