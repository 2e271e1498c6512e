"""Designs as the API shows them: every row of a page in a fixed number of queries."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from registry.models import Application, Design, Pin, Position
from registry.selectors.designs import designs_for_list, with_shape


def designs_for_api() -> QuerySet[Any]:
    """Lines of a list: five queries, however many."""
    return designs_for_list().order_by("pk")


def design_for_api() -> QuerySet[Any]:
    """One design in full: connector as drawn, positions with aliases, applications, what replaced what."""
    return (
        with_shape(Design.objects.all())
        .select_related("maker", "connector__common", "current_chart__revision", "proposed_by")
        .prefetch_related(
            "part_numbers",
            "families",
            Prefetch("positions", queryset=Position.objects.prefetch_related("aliases")),
            Prefetch("connector__pins", queryset=Pin.objects.all()),
            Prefetch("applications", queryset=Application.objects.select_related("family").order_by("pk")),
            "replaces",
            "replaced_by",
        )
    )


def design_exists(design: UUID) -> bool:
    return Design.objects.filter(uuid=design).exists()
