"""Disputes and decisions as the API shows them: deeds and reasons, people by pseudonym at most."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from registry.models import Decision, Dispute, DisputeMessage, Target
from registry.models.decisions import PRIVATE_DECISIONS


def disputes_for_api() -> QuerySet[Any]:
    """Appeals of suspended accounts are left out: they concern nobody else."""
    messages = DisputeMessage.objects.select_related("written_by__contributor")
    return (
        Dispute.objects.exclude(target_kind=Target.ACCOUNT)
        .select_related("opened_by__contributor")
        .prefetch_related(Prefetch("messages", queryset=messages))
        .order_by("-pk")
    )


def dispute_for_api(dispute: UUID) -> Dispute | None:
    return disputes_for_api().filter(uuid=dispute).first()


def decisions_for_api() -> QuerySet[Any]:
    """What shapes the charts; whom an account belongs to is not told, nor why it was suspended."""
    return (
        Decision.objects.exclude(PRIVATE_DECISIONS).select_related("dispute").defer("before").order_by("-pk")
    )


def decision_for_api(decision: UUID) -> Decision | None:
    return decisions_for_api().filter(uuid=decision).first()
