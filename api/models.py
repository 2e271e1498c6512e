"""First answers to writes that came with an Idempotency-Key."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class KeptAnswer(models.Model):
    """What a key was answered with, so that a retry on a bad network does nothing twice."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    request_digest = models.CharField(max_length=64)  # of method, address and body
    status = models.PositiveSmallIntegerField(default=0)
    body = models.BinaryField(default=bytes)
    headers = models.JSONField(null=True)  # null: kept by a version that had none
    created_at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="kept_answer_once_a_key")]

    def __str__(self) -> str:
        return f"answer {self.pk}"
