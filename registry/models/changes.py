"""What changed, for who follows the registry by program: in order, without gaps, frozen at the event."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject, one_of


class ChangeKind(models.TextChoices):
    CHART_PUBLISHED = "chart_published"
    CHART_WITHDRAWN = "chart_withdrawn"
    DESIGN_ADDED = "design_added"
    SHEET_ADDED = "sheet_added"
    SHEET_AMENDED = "sheet_amended"
    SHEET_WITHDRAWN = "sheet_withdrawn"
    SHEET_RESTORED = "sheet_restored"
    DECISION_IN_FORCE = "decision_in_force"
    DECISION_UNDONE = "decision_undone"
    JOB_TOLD = "job_told"  # something of the job around the switch: facts, units over time, outcomes


class Change(PublicObject):
    """payload: what was so at the event.

    number: given after the transaction of the event, so that who has read up to it misses no smaller one.
    """

    Kind = ChangeKind

    number = models.PositiveBigIntegerField(null=True, unique=True, editable=False)
    kind = models.CharField(max_length=20, choices=ChangeKind)
    design_uuid = models.UUIDField(null=True, db_index=True)
    payload = models.JSONField()

    class Meta:
        ordering = ["number"]
        constraints = [one_of("kind", ChangeKind, "change_kind_known")]

    def __str__(self) -> str:
        return f"change {self.number}"
