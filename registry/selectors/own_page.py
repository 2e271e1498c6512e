"""What a person's own page tells: the designs that they read, what their readings stand in, what is asked."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from registry.models import Decision, Design, Sheet, SheetFinding, User


def designs_read_by(user: User) -> QuerySet[Any]:
    """Designs with sheets of this person that were not withdrawn, with how many."""
    own = Q(sheets__contributor__user=user, sheets__withdrawn_at__isnull=True)
    return (
        Design.objects.filter(own)
        .annotate(own_sheets=Count("sheets", filter=own, distinct=True))
        .select_related("current_chart")
        .order_by("name")
    )


def findings_counted(user: User) -> list[tuple[str, int]]:
    """(finding, how many sheets), the most frequent first."""
    counted = (
        SheetFinding.objects.filter(sheet__contributor__user=user, sheet__withdrawn_at__isnull=True)
        .values_list("finding")
        .annotate(n=Count("pk"))
        .order_by("-n", "finding")
    )
    return [(finding, n) for finding, n in counted]


def rereads_asked_of(user: User) -> list[dict[str, Any]]:
    """Open requests to read a unit of theirs again: the sheet and the day."""
    own = {sheet.uuid: sheet for sheet in _own_sheets(user)}
    asked = Decision.objects.filter(
        kind=Decision.Kind.ASK_REREAD, state=Decision.State.IN_FORCE, target_uuid__in=list(own)
    ).order_by("pk")
    answered: set[UUID] = {s.rereads.uuid for s in own.values() if s.rereads is not None}
    return [
        {"sheet": own[d.target_uuid], "deadline": d.payload.get("deadline", ""), "reason": d.reason}
        for d in asked
        if d.target_uuid not in answered
    ]


def _own_sheets(user: User) -> QuerySet[Sheet]:
    return Sheet.objects.filter(contributor__user=user).select_related("design", "unit", "rereads")
