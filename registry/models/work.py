"""Work that is done after the answer: an import, a bulk call; and how a person's own columns are read."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.catalogue import Design
from registry.models.people import User


class WorkKind(models.TextChoices):
    IMPORT = "import"
    BULK = "bulk"


class WorkState(models.TextChoices):
    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    REFUSED = "refused"


class Work(PublicObject):
    """asked: what is to be done, dropped once it is; answer: what came of it, as the API shows it."""

    Kind = WorkKind
    State = WorkState

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="work")
    kind = models.CharField(max_length=10, choices=WorkKind)
    state = models.CharField(max_length=10, choices=WorkState, default=WorkState.WAITING)
    asked = models.JSONField(null=True)
    answer = models.JSONField(null=True)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            one_of("kind", WorkKind, "work_kind_known"),
            one_of("state", WorkState, "work_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.uuid}"


class ColumnMapping(models.Model):
    """What each column of a person's own spreadsheet means for a design, kept for the next file like it."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="column_mappings")
    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="column_mappings")
    heads = models.CharField(max_length=64)  # digest of the file's heads, whatever their order
    roles = models.JSONField()  # head → role
    kept_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "design", "heads"], name="mapping_once_a_form")
        ]

    def __str__(self) -> str:
        return f"columns of {self.user_id} for {self.design_id}"
