"""What a case looked like on the screen, as one word: who decides on a stale page is told."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Count

from registry.bridge.corrections import suggested_correction
from registry.models import ChartRevision, Contributor, Decision, Design, Dispute, PartNumber, Sheet, Target
from registry.selectors.evidence import digest_of


def case_seen(target_kind: str, target_uuid: UUID) -> str:
    """Changes when somebody decided, wrote or amended there; not when other sheets of the design came in."""
    decisions = Decision.objects.filter(target_kind=target_kind, target_uuid=target_uuid).order_by("pk")
    disputes = (
        Dispute.objects.filter(target_kind=target_kind, target_uuid=target_uuid)
        .annotate(said=Count("messages"))
        .order_by("pk")
    )
    return digest_of(
        [
            [[str(d.uuid), d.state, d.approver_id] for d in decisions],
            [[str(d.uuid), d.state, d.said] for d in disputes],
            _state(target_kind, target_uuid),
        ]
    )[:24]


def _state(target_kind: str, uuid: UUID) -> list[Any]:
    if target_kind == Target.SHEET:
        sheet = Sheet.objects.filter(uuid=uuid).select_related("finding").first()
        if sheet is None:
            return []
        finding = getattr(sheet, "finding", None)
        version = sheet.versions.filter(is_current=True).values_list("number", flat=True).first()
        found = None if finding is None else [finding.finding, suggested_correction(finding.body)]
        return [version, sheet.withdrawn_at is None, found]
    fields = {
        Target.DESIGN: (Design, ("state", "edit_number", "merged_into_id")),
        Target.CELL: (Design, ("state",)),
        Target.REVISION: (ChartRevision, ("state",)),
        Target.ACCOUNT: (Contributor, ("user__suspended_at",)),
        Target.PART_NUMBER: (PartNumber, ("merged_into_id",)),
    }.get(Target(target_kind))
    if fields is None:
        return []
    model, names = fields
    row = model.objects.filter(uuid=uuid).values_list(*names).first()  # type: ignore[attr-defined]
    return [] if row is None else [str(value) for value in row]
