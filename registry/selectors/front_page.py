"""What the front page tells: how much is here, and what changed lately."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from registry.models import ChartRevision, CurrentChart, Design

LATELY = 6


def changed_lately() -> QuerySet[Any]:
    """The newest published or withdrawn revisions, each with its design."""
    return (
        ChartRevision.objects.filter(state__in=["published", "withdrawn"])
        .select_related("design__current_chart")
        .defer("content", "inputs")
        .order_by("-published_at", "-pk")[:LATELY]
    )


def registry_counts() -> dict[str, int]:
    charts = CurrentChart.objects.values_list("units", flat=True)
    units = list(charts)
    return {"designs": Design.objects.count(), "charts": len(units), "units": sum(units)}
