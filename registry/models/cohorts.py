"""Workshops that report all of their units: a cohort of its own beside what volunteers bring in."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject
from registry.models.people import Contributor, User, Workshop


class FleetReport(PublicObject):
    """A workshop's word that it reports every unit of its fleet, good or failed; it counts once a moderator
    has confirmed it, until it ends.  A word given anew is a row of its own."""

    workshop = models.ForeignKey(Workshop, on_delete=models.CASCADE, related_name="fleet_reports")
    said_by = models.ForeignKey(
        Contributor, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    units = models.PositiveIntegerField()  # how many the fleet has, as they say: to hold reports against
    confirmed_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    confirmed_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["workshop"],
                condition=models.Q(ended_at__isnull=True),
                name="fleet_report_one_a_workshop",
            ),
            models.CheckConstraint(condition=models.Q(units__gte=1), name="fleet_report_of_units"),
        ]

    def __str__(self) -> str:
        return f"fleet report {self.pk}"

    @property
    def counts(self) -> bool:
        return self.confirmed_at is not None and self.ended_at is None
