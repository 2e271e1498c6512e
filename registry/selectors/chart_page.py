"""What the page of a design shows: the design in full, its chart, its history, the readings of a cell."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from registry.models import Application, ChartRevision, Design, Follow, Pin, Reading, User

SHOWN = ("published", "withdrawn")
MOST_READINGS = 400


def designs_in_full() -> QuerySet[Design]:
    """A design with all that its page says of it, in a fixed number of queries."""
    shown = Design.objects.select_related("maker", "connector__common", "current_chart__revision")
    return shown.defer("current_chart__revision__inputs").prefetch_related(
        "families",
        "part_numbers",
        "positions",
        Prefetch("applications", queryset=Application.objects.order_by("vehicle", "pk")),
        Prefetch("connector__pins", queryset=Pin.objects.order_by("order")),
        "replaces",
        "replaced_by",
    )


def history_of(design: Design) -> QuerySet[ChartRevision]:
    """Published and withdrawn revisions, the newest first, without their bytes."""
    return (
        ChartRevision.objects.filter(design=design, state__in=SHOWN)
        .defer("content", "inputs")
        .order_by("-number")
    )


def revision_numbered(design: Design, number: int) -> ChartRevision | None:
    shown = ChartRevision.objects.filter(design=design, number=number, state__in=SHOWN)
    return shown.defer("inputs").first()


def revision_waits(design: Design) -> bool:
    """Whether a newer computation is held for a moderator."""
    return ChartRevision.objects.filter(design=design, state="held").exists()


def cell_readings(design: Design, *, position: str, between: bool, pins: Sequence[str]) -> QuerySet[Any]:
    """First-pass readings at a place in sheets that count, with who read them and what was found."""
    a, b = pins
    place = Q(place__pin_a__label=a, place__pin_b__label=b) | Q(place__pin_a__label=b, place__pin_b__label=a)
    return (
        Reading.objects.filter(
            place,
            place__position__design=design,
            place__position__label=position,
            place__between=between,
            version__is_current=True,
            version__purpose="known_good",
            version__sheet__withdrawn_at__isnull=True,
            first_pass=True,
        )
        .exclude(kind=Reading.Kind.NOT_TAKEN)
        .select_related("version__sheet__unit", "version__sheet__contributor", "version__sheet__finding")
        .order_by("version__sheet__created_at", "sweep", "pk")[:MOST_READINGS]
    )


def design_by_uuid(uuid: UUID) -> Design | None:
    return designs_in_full().filter(uuid=uuid).first()


def follow_of(user: Any, uuid: UUID) -> Follow | None:
    """How this person follows the design; None for guests too."""
    return Follow.objects.filter(user=user, design__uuid=uuid).first() if isinstance(user, User) else None


def made_from(uuid: UUID) -> tuple[Any, ...] | None:
    """What a design's page for guests depends on: one query, without the chart's bytes."""
    waiting = ChartRevision.objects.filter(design=OuterRef("pk"), state="held")
    return (
        Design.objects.filter(uuid=uuid, current_chart__isnull=False)
        .annotate(waits=Exists(waiting))
        .values_list(
            "name",
            "state",
            "edit_number",
            "merged_into",
            "current_chart__revision",
            "current_chart__revision__state",
            "current_chart__revision__content_sha256",
            "waits",
        )
        .first()
    )
