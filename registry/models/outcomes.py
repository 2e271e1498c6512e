"""How jobs came out elsewhere: counts that came with a package or from another registry."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject
from registry.models.catalogue import Design
from registry.models.jobs import JobSymptom


class OutcomeCounted(PublicObject):
    """Of so many units checked, in how many the switch was at fault.  symptom "": of all symptoms."""

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="outcomes_counted")
    symptom = models.CharField(max_length=16, blank=True, default="")
    checked = models.PositiveIntegerField()
    at_fault = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["design", "symptom", "origin"], name="outcome_counted_once"),
            models.CheckConstraint(
                condition=models.Q(symptom__in=["", *JobSymptom.values]), name="outcome_counted_symptom"
            ),
            models.CheckConstraint(
                condition=models.Q(at_fault__lte=models.F("checked")), name="outcome_counted_is_a_share"
            ),
        ]

    def __str__(self) -> str:
        return f"outcomes of {self.design_id} from {self.origin}"
