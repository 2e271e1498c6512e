"""Chart revisions as the API serves them: only what has been published, as stored bytes."""

from __future__ import annotations

from datetime import UTC, datetime
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
    """The chart that a reader is shown, for each design that has one; without the bytes.

    In the order of the designs, which stays: a withdrawal takes the row away, the next chart makes another.
    """
    return (
        CurrentChart.objects.filter(revision__state__in=SHOWN)
        .select_related("design", "revision")
        .defer("revision__content", "revision__inputs")
        .order_by("design_id")
    )


def head_of_current(design: UUID) -> RevisionHead | None:
    """The revision that a reader is shown."""
    found = current_head(design)
    return None if found is None else found.head


class CurrentHead(NamedTuple):
    """What a reader is shown of a design, and the design's row."""

    head: RevisionHead
    design_row: int


def current_head(design: UUID) -> CurrentHead | None:
    """By a plain query: compiling it at each read of a chart would cost more than it does."""
    with connection.cursor() as cursor:
        cursor.execute(_current_row(), [Design._meta.get_field("uuid").get_db_prep_value(design, connection)])
        row: tuple[Any, ...] | None = cursor.fetchone()
    if row is None:
        return None
    pk, number, digest, sha256, state, published, withdrawn, reason, design_row = row
    times = (_aware(published), _aware(withdrawn))
    return CurrentHead(RevisionHead(pk, number, digest, sha256, state, *times, reason), design_row)


def _current_row() -> str:
    current, design, revision = (m._meta.db_table for m in (CurrentChart, Design, ChartRevision))
    columns = ", ".join("r.id" if name == "pk" else f"r.{name}" for name in _HEAD)
    return (
        f"SELECT {columns}, c.design_id "  # noqa: S608
        f"FROM {current} c JOIN {design} d ON d.id = c.design_id "
        f"JOIN {revision} r ON r.id = c.revision_id "
        "WHERE d.uuid = %s AND r.state IN ('published', 'withdrawn')"
    )


def _aware(at: Any) -> Any:
    """SQLite keeps times in UTC, without saying so."""
    return at if at is None or at.tzinfo else at.replace(tzinfo=UTC)


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
