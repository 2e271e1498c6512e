"""Designs that could not be computed, for the desk and the machine room."""

from __future__ import annotations

from django.db.models import QuerySet

from registry.models import RefreshTrouble


def parked_designs() -> QuerySet[RefreshTrouble]:
    """Those that wait for somebody to look at them, longest first."""
    parked = RefreshTrouble.objects.filter(parked_at__isnull=False)
    return parked.select_related("design").order_by("parked_at")
