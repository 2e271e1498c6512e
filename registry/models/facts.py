"""Facts about the job around a switch: small questions with an answer, a source and confirmations."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.catalogue import Design
from registry.models.people import Contributor


class JobFact(PublicObject):
    """A question about a design that somebody answered.

    question: a code of `formats.fact_questions`; subject: what it is asked of where the question leaves that
    open (a tool, a bolt), its key normalised; "" elsewhere.
    """

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="facts")
    question = models.CharField(max_length=30)
    subject = models.CharField(max_length=80, blank=True, default="")
    subject_key = models.CharField(max_length=80, blank=True, default="")

    class Meta:
        ordering = ["question", "subject_key"]
        constraints = [
            models.UniqueConstraint(fields=["design", "question", "subject_key"], name="fact_once_a_design")
        ]

    def __str__(self) -> str:
        return f"fact {self.pk}"


class FactSource(models.TextChoices):
    DID_IT = "did_it"  # on this design, with their own hands
    SAW_IT = "saw_it"
    PROCEDURE = "procedure"  # the vehicle maker's, read by them; nothing is copied from it


class FactAnswer(PublicObject):
    """One person's answer; a later one takes its place, and the earlier stays to be seen.

    answer: a choice's code, or the words of an open one; quantity: in the question's unit.
    """

    Source = FactSource

    fact = models.ForeignKey(JobFact, on_delete=models.CASCADE, related_name="answers")
    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="fact_answers")
    answer = models.CharField(max_length=80, blank=True, default="")
    quantity = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=10, choices=FactSource)
    note = models.CharField(max_length=300, blank=True, default="")
    is_current = models.BooleanField(default=True)  # False: answered anew, or taken back

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("source", FactSource, "fact_source_known"),
            models.UniqueConstraint(
                fields=["fact", "contributor"],
                condition=models.Q(is_current=True),
                name="fact_answered_once_a_person",
            ),
            models.CheckConstraint(
                condition=models.Q(answer="", quantity__gt=0)
                | (~models.Q(answer="") & models.Q(quantity__isnull=True)),
                name="fact_answer_is_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"answer {self.pk}"
