"""Chart revisions as the API serves them: only what has been published, as stored bytes."""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from registry.models import ChartRevision, CurrentChart, Design

SHOWN = (ChartRevision.State.PUBLISHED, ChartRevision.State.WITHDRAWN)


class RevisionHead(NamedTuple):
    """All of a revision but its bytes.  Two equal heads have equal bytes: they may be kept by it."""

    pk: int
    number: int
    digest: str
    content_sha256: str
    state: str
    published_at: datetime
    withdrawn_at: datetime | None
    withdrawn_reason: str


_HEAD = (
    "pk",
    "number",
    "digest",
    "content_sha256",
    "state",
    "published_at",
    "withdrawn_at",
    "withdrawn_reason",
)


def revisions_shown() -> QuerySet[ChartRevision]:
    """What anybody may read: held and refused revisions were never published."""
    return ChartRevision.objects.filter(state__in=SHOWN)


def revisions_of(design: UUID) -> QuerySet[Any]:
    """The history of a design's chart, without the bytes."""
    return revisions_shown().filter(design__uuid=design).defer("content", "inputs").select_related("design")


def current_charts() -> QuerySet[Any]:
    """The chart that a reader is shown, for each design that has one; without the bytes."""
    return (
        CurrentChart.objects.filter(revision__state__in=SHOWN)
        .select_related("design", "revision")
        .defer("revision__content", "revision__inputs")
        .order_by("pk")
    )


def head_of_current(design: UUID) -> RevisionHead | None:
    """The revision that a reader is shown."""
    row = (
        CurrentChart.objects.filter(design__uuid=design, revision__state__in=SHOWN)
        .values_list(*[f"revision__{name}" for name in _HEAD])
        .first()
    )
    return None if row is None else RevisionHead(*row)


def _current_row() -> str:
    """By hand, for it is asked at every read of a chart and compiling it would cost more than running it."""
    current, design, revision = (m._meta.db_table for m in (CurrentChart, Design, ChartRevision))
    return (
        "SELECT r.id, r.content_sha256, r.state, r.published_at, r.withdrawn_at, r.withdrawn_reason "  # noqa: S608
        f"FROM {current} c JOIN {design} d ON d.id = c.design_id "
        f"JOIN {revision} r ON r.id = c.revision_id "
        "WHERE d.uuid = %s AND r.state IN ('published', 'withdrawn')"
    )


def current_key(design: UUID) -> tuple[Any, ...] | None:
    """Changes whenever what `head_of_current` says changes; one plain query."""
    with connection.cursor() as cursor:
        cursor.execute(_current_row(), [Design._meta.get_field("uuid").get_db_prep_value(design, connection)])
        row: tuple[Any, ...] | None = cursor.fetchone()
    return row


def head_of_withdrawn(design: UUID) -> RevisionHead | None:
    """The newest revision that was withdrawn: why a design without a chart has none any more."""
    withdrawn = ChartRevision.objects.filter(design__uuid=design, state=ChartRevision.State.WITHDRAWN)
    row = withdrawn.order_by("-number").values_list(*_HEAD).first()
    return None if row is None else RevisionHead(*row)


def head_of_revision(design: UUID, number: int) -> RevisionHead | None:
    row = revisions_shown().filter(design__uuid=design, number=number).values_list(*_HEAD).first()
    return None if row is None else RevisionHead(*row)


def revision_content(pk: int) -> bytes:
    """The stored bytes of a chart."""
    return bytes(ChartRevision.objects.values_list("content", flat=True).get(pk=pk))


def revision_row(pk: int) -> ChartRevision:
    """Without the bytes."""
    return ChartRevision.objects.defer("content", "inputs").get(pk=pk)
