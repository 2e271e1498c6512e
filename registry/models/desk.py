"""What the desk keeps besides decisions: who looks at a case, who is to be told, who fetched a revision."""

from __future__ import annotations

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.catalogue import Design
from registry.models.charts import ChartRevision
from registry.models.people import User


class CaseKind(models.TextChoices):
    """What a case on the desk is about; the uuid beside it says which one."""

    SHEET = "sheet"
    DISPUTE = "dispute"
    DESIGN = "design"
    REVISION = "revision"
    VARIANT = "variant"  # sheets of a design that agree with each other against the rest
    DECISION = "decision"  # one that waits for a second moderator


class CaseClaim(models.Model):
    """A moderator is at this case until then, so that two don't do the same work."""

    kind = models.CharField(max_length=10, choices=CaseKind)
    uuid = models.UUIDField()
    moderator = models.ForeignKey(User, on_delete=models.CASCADE, related_name="claims")
    until = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "uuid"], name="claim_once_a_case"),
            one_of("kind", CaseKind, "claim_kind_known"),
        ]

    def __str__(self) -> str:
        return f"claim {self.pk}"


class NoticeCode(models.TextChoices):
    """Why somebody is told; sentences are made when shown."""

    SHEET_DISPUTED = "sheet_disputed"
    DECISION_PROPOSED = "decision_proposed"  # against your sheet; you have a time to answer
    DECISION_IN_FORCE = "decision_in_force"
    DECISION_UNDONE = "decision_undone"
    REREAD_ASKED = "reread_asked"
    REREAD_DUE = "reread_due"
    DISPUTE_ANSWERED = "dispute_answered"
    DISPUTE_SETTLED = "dispute_settled"
    CHART_CHANGED = "chart_changed"
    REVISION_WITHDRAWN = "revision_withdrawn"
    ACCOUNT_SUSPENDED = "account_suspended"
    ACCOUNT_BACK = "account_back"
    ROLE_PROPOSED = "role_proposed"  # to suspend you, a moderator, or to end your moderating
    MODERATING_ENDED = "moderating_ended"
    INVITATION_WAITS = "invitation_waits"  # for another moderator's yes


class Notice(PublicObject):
    """Something that a person is told, on their own page and in the next mail."""

    Code = NoticeCode

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="notices")
    code = models.CharField(max_length=20, choices=NoticeCode)
    params = models.JSONField(default=dict, blank=True)  # ids, labels, days
    read_at = models.DateTimeField(null=True, blank=True)
    mailed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [one_of("code", NoticeCode, "notice_code_known")]

    def __str__(self) -> str:
        return f"{self.code} {self.pk}"


class RevisionFetch(models.Model):
    """Somebody with an account fetched this revision: they are told if it is withdrawn."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="fetches")
    revision = models.ForeignKey(ChartRevision, on_delete=models.CASCADE, related_name="fetches")
    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="fetches")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "revision"], name="fetch_once")]

    def __str__(self) -> str:
        return f"fetch {self.pk}"
