"""What a clock runs leaves word when it ended well, so that one that fails, or never ran, is seen."""

from __future__ import annotations

from django.db.models.functions import Now

from registry.models import ClockRun


def ended_well(*, command: str) -> None:
    """By the database's clock: those of the machines may differ."""
    ClockRun.objects.update_or_create(command=command, defaults={"ended_at": Now()})
