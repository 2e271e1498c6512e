"""A person's sheets as their own page lists them, and one sheet with everything on its page."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from registry.models import Pin, Reading, Sheet, SheetVersion, User


def sheets_of(user: User) -> QuerySet[Any]:
    """The newest first, each with its finding and current version: a fixed number of queries."""
    current = SheetVersion.objects.filter(is_current=True).order_by("pk")
    return (
        Sheet.objects.filter(contributor__user=user)
        .select_related("design__connector__common", "unit", "finding")
        .prefetch_related(Prefetch("versions", queryset=current, to_attr="current"))
        .order_by("-created_at", "-pk")
    )


def sheet_for_page(uuid: UUID) -> Sheet | None:
    return (
        Sheet.objects.filter(uuid=uuid)
        .select_related(
            "design__connector__common", "unit__part_number", "contributor__user", "finding", "rereads"
        )
        .prefetch_related(
            "design__positions",
            "pictures",
            Prefetch("design__connector__pins", queryset=Pin.objects.order_by("order")),
            Prefetch("versions", queryset=SheetVersion.objects.select_related("meter").order_by("-number")),
        )
        .first()
    )


def readings_of(version: SheetVersion) -> QuerySet[Any]:
    return (
        Reading.objects.filter(version=version)
        .select_related("place__position", "place__pin_a", "place__pin_b")
        .order_by("sweep", "place__position__step", "place__between", "place__pin_a__order")
    )
