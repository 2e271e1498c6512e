"""A dispute is settled by a decision and open again when that is taken back."""

from __future__ import annotations

from registry.errors import refuse
from registry.models import Decision, Dispute
from registry.services.notices import notify
from registry.translation import gettext as _


def dispute_settle(dispute: Dispute, decision: Decision) -> None:
    Dispute.objects.filter(pk=dispute.pk).update(state=Dispute.State.SETTLED)
    decision.before["dispute"] = dispute.state
    dispute.state = Dispute.State.SETTLED
    notify(
        dispute.opened_by,
        "dispute_settled",
        dispute=str(dispute.uuid),
        kind=decision.kind,
        reason=decision.reason,
    )


def dispute_reopen(dispute: Dispute, decision: Decision) -> None:
    """Open again, unless the same person has opened the question anew in the meantime."""
    if decision.before.get("dispute") != Dispute.State.OPEN or dispute.state != Dispute.State.SETTLED:
        return
    again = Dispute.objects.filter(
        target_kind=dispute.target_kind,
        target_uuid=dispute.target_uuid,
        target_cell=dispute.target_cell,
        opened_by=dispute.opened_by,
        state=Dispute.State.OPEN,
    )
    if again.exists():
        refuse("/dispute", "dispute_open", _("This was disputed again since; settle that one first."))
    Dispute.objects.filter(pk=dispute.pk).update(state=Dispute.State.OPEN)
