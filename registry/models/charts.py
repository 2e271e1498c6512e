"""What is published: reliability snapshots, chart revisions, variants' keys, findings."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.catalogue import Design
from registry.models.sheets import Sheet


class ReliabilitySnapshot(PublicObject):
    """Contributors' slip rates as learned in one scheduled pass; charts are computed under one of these."""

    number = models.PositiveIntegerField(unique=True)
    engine = models.CharField(max_length=40)
    digest = models.CharField(max_length=64)
    content = models.JSONField()

    def __str__(self) -> str:
        return f"snapshot {self.number}"


class Variant(PublicObject):
    """A table of its own within a design; its key never changes once given."""

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="variants")
    key = models.CharField(max_length=20)
    table = models.JSONField(default=dict)  # states by place, by which the engine knows it again
    date_code_from = models.CharField(max_length=40, blank=True, default="")
    date_code_to = models.CharField(max_length=40, blank=True, default="")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["design", "key"], name="variant_key_once_a_design")]

    def __str__(self) -> str:
        return self.key


class ChartRevisionState(models.TextChoices):
    HELD = "held"
    PUBLISHED = "published"
    WITHDRAWN = "withdrawn"
    REFUSED = "refused"  # held, and a moderator decided against it


class ChartRevision(PublicObject):
    """A numbered chart.  content is what the digest names: the same inputs give the same bytes."""

    State = ChartRevisionState

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    digest = models.CharField(max_length=64, db_index=True)  # of the inputs
    # of the inputs without the variants' keys: the same evidence again finds the same chart again
    evidence = models.CharField(max_length=64, db_index=True, blank=True, default="", editable=False)
    content = models.BinaryField()  # canonical JSON, no time, number or translated text
    content_sha256 = models.CharField(max_length=64)
    inputs = models.JSONField()  # frozen: sheet versions, decisions, snapshot, settings, engine, shape
    snapshot = models.ForeignKey(ReliabilitySnapshot, null=True, on_delete=models.PROTECT)
    state = models.CharField(max_length=10, choices=State)
    held_because = models.JSONField(default=list, blank=True)  # codes and places
    published_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["design", "number"], name="revision_number_once_a_design"),
            one_of("state", ChartRevisionState, "revision_state_known"),
            models.CheckConstraint(
                condition=models.Q(state__in=["held", "refused"], published_at__isnull=True)
                | models.Q(state__in=["published", "withdrawn"], published_at__isnull=False),
                name="revision_published_has_a_time",
            ),
            models.CheckConstraint(
                condition=models.Q(state="withdrawn", withdrawn_at__isnull=False)
                | ~models.Q(state="withdrawn") & models.Q(withdrawn_at__isnull=True),
                name="revision_withdrawn_has_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"revision {self.number} of design {self.design_id}"


class CurrentChart(models.Model):
    """Which revision a reader is shown, and the few figures by which charts are searched."""

    design = models.OneToOneField(Design, on_delete=models.CASCADE, related_name="current_chart")
    revision = models.ForeignKey(ChartRevision, on_delete=models.PROTECT, related_name="+")
    standing = models.CharField(max_length=12, db_index=True)  # of the weakest cell that was read
    cells = models.PositiveIntegerField(default=0)
    cells_agreed = models.PositiveIntegerField(default=0)
    units = models.PositiveIntegerField(default=0)
    contributors = models.PositiveIntegerField(default=0)
    shape_key = models.CharField(max_length=32, db_index=True, default="")  # of positions, pins and common

    def __str__(self) -> str:
        return f"current chart of design {self.design_id}"


class SheetFinding(models.Model):
    """What the engine says of a sheet under the newest computation of its design."""

    sheet = models.OneToOneField(Sheet, on_delete=models.CASCADE, related_name="finding")
    revision = models.ForeignKey(ChartRevision, on_delete=models.CASCADE, related_name="findings")
    finding = models.CharField(max_length=20, db_index=True)
    p = models.FloatField()
    variant = models.CharField(max_length=20, blank=True, default="")
    body = models.JSONField()  # codes and parameters; sentences are made when shown

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(p__gte=0, p__lte=1), name="finding_p_is_a_share")
        ]

    def __str__(self) -> str:
        return self.finding
