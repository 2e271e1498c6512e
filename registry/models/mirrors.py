"""Other registries that this one follows, and how far."""

from __future__ import annotations

from django.db import models

from registry.models.base import one_of


class MirrorMode(models.TextChoices):
    MIRROR = "mirror"  # read-only: charts as they were computed there
    EXCHANGE = "exchange"  # sheets and designs of theirs beside our own; charts are computed here


class MirrorSource(models.Model):
    """since: number of their change up to which all was taken; None: the first round isn't done."""

    Mode = MirrorMode

    url = models.URLField(max_length=500, unique=True)
    origin = models.CharField(max_length=100, blank=True, default="")
    mode = models.CharField(max_length=8, choices=MirrorMode)
    since = models.PositiveBigIntegerField(null=True)
    pulled_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [one_of("mode", MirrorMode, "mirror_mode_known")]

    def __str__(self) -> str:
        return self.url


class MirrorItem(models.Model):
    """One design of theirs.  etag: of what was taken over last; error: why the newest could not be."""

    source = models.ForeignKey(MirrorSource, on_delete=models.CASCADE, related_name="items")
    design_uuid = models.UUIDField()
    etag = models.CharField(max_length=80, blank=True, default="")
    error = models.CharField(max_length=300, blank=True, default="")
    failed_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["source", "design_uuid"], name="mirror_item_once")]

    def __str__(self) -> str:
        return f"{self.design_uuid} of {self.source_id}"
