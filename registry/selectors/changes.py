"""The feed of changes: everything after a number, in order, without gaps."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Max, QuerySet

from registry.models import Change, Design


def changes_after(number: int, *, design: UUID | None = None) -> QuerySet[Change]:
    changes = Change.objects.filter(number__gt=number).order_by("number")
    return changes if design is None else changes.filter(design_uuid=design)


def newest_changes(*, design: UUID | None = None, most: int) -> list[Change]:
    """The newest first."""
    return list(changes_after(0, design=design).order_by("-number")[:most])


def newest_number() -> int:
    return int(Change.objects.aggregate(newest=Max("number"))["newest"] or 0)


def names_of(designs: set[UUID]) -> dict[UUID, str]:
    """The names of designs, by id."""
    return dict(Design.objects.filter(uuid__in=designs).values_list("uuid", "name"))
