"""What the bench sheet needs: the design as drawn, its chart for the comparison, the person's last meter."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from registry.models import CurrentChart, Design, LeadResistance, Meter, Pin, User


def design_for_bench(uuid: UUID) -> Design | None:
    return (
        Design.objects.filter(uuid=uuid)
        .select_related("connector__common")
        .prefetch_related("positions", Prefetch("connector__pins", queryset=Pin.objects.order_by("order")))
        .first()
    )


def chart_shown(design: Design) -> dict[str, Any] | None:
    """Content of the chart that readers are shown; None where there is none, or it was withdrawn."""
    charts = CurrentChart.objects.select_related("revision").defer("revision__inputs")
    current = charts.filter(design=design).first()
    if current is None or current.revision.state != "published":
        return None
    content: dict[str, Any] = json.loads(bytes(current.revision.content))
    return content


def meters_of(user: User) -> QuerySet[Meter]:
    """The person's meters, the newest first, each with its lead resistances."""
    newest = LeadResistance.objects.order_by("-measured_on")
    return (
        Meter.objects.filter(contributor__user=user)
        .prefetch_related(Prefetch("lead_resistances", queryset=newest))
        .order_by("-pk")
    )


def last_meter(user: User) -> tuple[Meter | None, float | None]:
    """The meter of the newest sheet, or the newest one, with its leads as last measured."""
    meters = meters_of(user)
    used = meters.filter(sheetversion__made_by=user).order_by("-sheetversion__pk").first() or meters.first()
    if used is None:
        return None, None
    leads = list(used.lead_resistances.all())
    return used, leads[0].ohm if leads else None
