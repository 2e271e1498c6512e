"""Disputes with their threads, decisions with their inverses, and the log of who did what."""

from __future__ import annotations

import secrets

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.people import User


class Target(models.TextChoices):
    """What a dispute or a decision is about; the uuid beside it says which one."""

    SHEET = "sheet"
    CELL = "cell"  # the uuid is the design's, `target_cell` the place
    DESIGN = "design"
    REVISION = "revision"
    VARIANT = "variant"
    PART_NUMBER = "part_number"
    POSITION = "position"
    ACCOUNT = "account"  # the uuid is the contributor's
    FACT = "fact"


class DisputeState(models.TextChoices):
    OPEN = "open"
    SETTLED = "settled"
    TAKEN_BACK = "taken_back"


class Dispute(PublicObject):
    State = DisputeState

    target_kind = models.CharField(max_length=12, choices=Target)
    target_uuid = models.UUIDField(db_index=True)
    target_cell = models.JSONField(null=True, blank=True)  # {"position", "between", "pin", "against"} labels
    opened_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="disputes")
    reason = models.TextField()
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    reply_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of("target_kind", Target, "dispute_target_known"),
            one_of("state", DisputeState, "dispute_state_known"),
            models.UniqueConstraint(
                fields=["target_kind", "target_uuid", "target_cell", "opened_by"],
                condition=models.Q(state="open"),
                name="dispute_open_once_a_person",
            ),
        ]

    def __str__(self) -> str:
        return f"dispute {self.pk}"


class DisputeMessage(PublicObject):
    dispute = models.ForeignKey(Dispute, on_delete=models.CASCADE, related_name="messages")
    written_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL)
    text = models.TextField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"message {self.pk}"


class DecisionKind(models.TextChoices):
    KEEP = "keep"
    SET_ASIDE = "set_aside"
    CORRECT = "correct"  # payload: the sheet mistake to read it through
    MOVE = "move"  # payload: design uuid
    ASK_REREAD = "ask_reread"
    SPLIT_VARIANT = "split_variant"
    MERGE_VARIANTS = "merge_variants"
    PUBLISH = "publish"
    HOLD = "hold"
    WITHDRAW_REVISION = "withdraw_revision"
    SUSPEND = "suspend"
    SET_ASIDE_ACCOUNT = "set_aside_account"
    CONFIRM_DESIGN = "confirm_design"
    EDIT_DESIGN = "edit_design"
    MERGE_DESIGNS = "merge_designs"
    MERGE_PARTS = "merge_parts"
    SETTLE_DISPUTE = "settle_dispute"
    SUPERSEDE = "supersede"  # one part number took another's place
    END_MODERATING = "end_moderating"
    UNDO = "undo"  # payload: the decision that is taken back; only where that needs a second voice


class DecisionState(models.TextChoices):
    WAITING = "waiting"  # for a second moderator, the right of reply or the waiting time
    IN_FORCE = "in_force"
    UNDONE = "undone"
    REFUSED = "refused"


class Decision(PublicObject):
    """An event with an inverse.  In force: laid over the data of a chart; nothing is rewritten."""

    Kind = DecisionKind
    State = DecisionState

    kind = models.CharField(max_length=20, choices=Kind)
    target_kind = models.CharField(max_length=12, choices=Target)
    target_uuid = models.UUIDField(db_index=True)
    target_cell = models.JSONField(null=True, blank=True)
    payload = models.JSONField(default=dict, blank=True)
    before = models.JSONField(default=dict, blank=True)  # what an exact undo needs
    reason = models.TextField()
    proposer = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="decisions")
    approver = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    needs_second = models.BooleanField(default=False)
    state = models.CharField(max_length=10, choices=State)
    effective_at = models.DateTimeField(null=True, blank=True)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    dispute = models.ForeignKey(
        Dispute, null=True, blank=True, on_delete=models.SET_NULL, related_name="decisions"
    )

    class Meta:
        constraints = [
            one_of("kind", DecisionKind, "decision_kind_known"),
            one_of("target_kind", Target, "decision_target_known"),
            one_of("state", DecisionState, "decision_state_known"),
            models.CheckConstraint(condition=~models.Q(reason=""), name="decision_has_a_reason"),
            models.CheckConstraint(
                condition=models.Q(approver__isnull=True) | ~models.Q(approver=models.F("proposer")),
                name="decision_second_is_another",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


# About a person alone, as is the proposal to take such a one back: nobody outside is told.
PRIVATE_DECISIONS = models.Q(kind__in=[DecisionKind.SUSPEND, DecisionKind.END_MODERATING]) | models.Q(
    kind=DecisionKind.UNDO, target_kind=Target.ACCOUNT
)


def new_salt() -> str:
    return secrets.token_hex(16)


class AuditEntry(models.Model):
    """Append-only; ids and codes only, so that an account can be erased without touching the log.

    number, previous and hash are given when the entry is sealed into the chain, right after its commit.
    """

    at = models.DateTimeField(auto_now_add=True)
    actor_uuid = models.UUIDField(null=True)
    action = models.CharField(max_length=40)
    target_kind = models.CharField(max_length=20)
    target_uuid = models.UUIDField(null=True)
    detail = models.JSONField(default=dict)
    # hides who acted in the published chain: it shows a digest of salt and id, which nobody can join
    salt = models.CharField(max_length=32, default=new_salt)
    number = models.PositiveBigIntegerField(null=True, unique=True)  # without gaps, unlike the key
    previous = models.CharField(max_length=64, blank=True, default="")
    hash = models.CharField(max_length=64, blank=True, default="", db_index=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.action} {self.pk}"


class Follow(models.Model):
    """Somebody wants to hear of a design; wanting: they ask for a pattern or one more unit."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="follows")
    design = models.ForeignKey("registry.Design", on_delete=models.CASCADE, related_name="followers")
    wanting = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "design"], name="follow_once")]

    def __str__(self) -> str:
        return f"follow {self.pk}"
