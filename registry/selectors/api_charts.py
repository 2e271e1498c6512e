"""Chart revisions as the API serves them: only what has been published, as stored bytes."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from registry.models import ChartRevision, CurrentChart

SHOWN = (ChartRevision.State.PUBLISHED, ChartRevision.State.WITHDRAWN)


def revisions_shown() -> QuerySet[ChartRevision]:
    """What anybody may read: held and refused revisions were never published."""
    return ChartRevision.objects.filter(state__in=SHOWN)


def revisions_of(design: UUID) -> QuerySet[Any]:
    """The history of a design's chart, without the bytes."""
    return revisions_shown().filter(design__uuid=design).defer("content", "inputs").select_related("design")


def revision_at(design: UUID, number: int) -> ChartRevision | None:
    return revisions_shown().filter(design__uuid=design, number=number).defer("inputs").first()


def current_charts() -> QuerySet[Any]:
    """The chart that a reader is shown, for each design that has one; without the bytes."""
    return (
        CurrentChart.objects.filter(revision__state__in=SHOWN)
        .select_related("design", "revision")
        .defer("revision__content", "revision__inputs")
    )


def current_revision_key(design: UUID) -> tuple[int, str] | None:
    """Id and state of the revision that is shown: all that a cached copy needs to know of."""
    return (
        CurrentChart.objects.filter(design__uuid=design, revision__state__in=SHOWN)
        .values_list("revision_id", "revision__state")
        .first()
    )
