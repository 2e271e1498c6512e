"""A dispute as its page shows it, and where a notice leads."""

from __future__ import annotations

from uuid import UUID

from django.urls import reverse

from registry.models import Decision, Dispute, Notice


def dispute_for_page(uuid: UUID) -> Dispute | None:
    return (
        Dispute.objects.filter(uuid=uuid)
        .select_related("opened_by__contributor")
        .prefetch_related("messages__written_by__contributor")
        .first()
    )


def decisions_about(dispute: Dispute) -> list[Decision]:
    """What was decided about the same thing, the newest first."""
    about = Decision.objects.filter(target_kind=dispute.target_kind, target_uuid=dispute.target_uuid)
    return list(about.order_by("-pk"))


def notice_address(notice: Notice) -> str:
    """Where one goes from a notice; "" where there is nothing to see."""
    params = notice.params
    if "dispute" in params:
        return reverse("dispute", args=[params["dispute"]])
    if notice.code == Notice.Code.REVISION_WITHDRAWN:
        return reverse("revision", args=[params["design"], params["number"]])
    if notice.code == Notice.Code.CHART_CHANGED:
        return reverse("design", args=[params["design"]])
    return reverse("sheet", args=[params["sheet"]]) if "sheet" in params else ""
