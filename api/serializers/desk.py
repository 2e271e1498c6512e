"""Disputes, decisions and the moderators' cases as the API shows them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from registry.models import Target
from registry.models.decisions import DecisionKind, DecisionState, DisputeState
from registry.models.desk import CaseKind


class PlaceNamed(serializers.Serializer[Any]):
    position = serializers.CharField()
    between = serializers.BooleanField()
    pin = serializers.CharField()
    against = serializers.CharField()


def pseudonym(user: Any) -> str | None:
    contributor = getattr(user, "contributor", None)
    return None if contributor is None else contributor.pseudonym


class MessageLine(serializers.Serializer[Any]):
    message = serializers.UUIDField(source="uuid")
    at = serializers.DateTimeField(source="created_at")
    by = serializers.SerializerMethodField(help_text="A pseudonym")
    text = serializers.CharField()

    def get_by(self, message: Any) -> str | None:
        return pseudonym(message.written_by)


class DisputeLine(serializers.Serializer[Any]):
    dispute = serializers.UUIDField(source="uuid")
    target_kind = serializers.ChoiceField(choices=Target.choices)
    target = serializers.UUIDField(source="target_uuid")
    cell = PlaceNamed(source="target_cell", allow_null=True, help_text="Of a design; null: not about a cell")
    state = serializers.ChoiceField(choices=DisputeState.choices)
    opened = serializers.DateTimeField(source="created_at")
    opened_by = serializers.SerializerMethodField(help_text="A pseudonym")
    reply_until = serializers.DateTimeField(
        allow_null=True, help_text="Whom it concerns can answer until then"
    )
    reason = serializers.CharField()

    def get_opened_by(self, dispute: Any) -> str | None:
        return pseudonym(dispute.opened_by)


class DisputeFull(DisputeLine):
    """A dispute with its thread."""

    messages = MessageLine(many=True)


class DecisionLine(serializers.Serializer[Any]):
    """An event that is laid over the data; it has an exact inverse."""

    decision = serializers.UUIDField(source="uuid")
    kind = serializers.ChoiceField(choices=DecisionKind.choices)
    target_kind = serializers.ChoiceField(choices=Target.choices)
    target = serializers.SerializerMethodField(help_text="null where it is an account")
    cell = PlaceNamed(source="target_cell", allow_null=True)
    payload = serializers.SerializerMethodField(
        help_text="What else the kind needs: a design, sheets, a variant"
    )
    reason = serializers.SerializerMethodField(help_text="null where it is about an account")
    state = serializers.ChoiceField(choices=DecisionState.choices)
    needs_second = serializers.BooleanField(help_text="Waits for a second moderator, or did")
    made = serializers.DateTimeField(source="created_at")
    effective = serializers.DateTimeField(source="effective_at", allow_null=True)
    undone = serializers.DateTimeField(source="undone_at", allow_null=True)
    dispute = serializers.UUIDField(source="dispute.uuid", default=None, allow_null=True)

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_target(self, decision: Any) -> str | None:
        return None if decision.target_kind == Target.ACCOUNT else str(decision.target_uuid)

    @extend_schema_field({"type": "object"})
    def get_payload(self, decision: Any) -> Any:
        return {} if decision.target_kind == Target.ACCOUNT else decision.payload

    def get_reason(self, decision: Any) -> str | None:
        return None if decision.target_kind == Target.ACCOUNT else decision.reason


class CaseLine(serializers.Serializer[Any]):
    """Something that waits for a moderator."""

    kind = serializers.ChoiceField(choices=CaseKind.choices)
    case = serializers.UUIDField(source="uuid")
    design = serializers.UUIDField(source="design.uuid", default=None, allow_null=True)
    word = serializers.CharField(help_text="Its finding, state or reason")
    weight = serializers.FloatField()
    since = serializers.DateTimeField()
    claimed_by = serializers.SerializerMethodField(help_text="A pseudonym")

    def get_claimed_by(self, case: Any) -> str | None:
        return pseudonym(case.claimed_by)


class ActLine(serializers.Serializer[Any]):
    act = serializers.CharField(source="code")
    label = serializers.CharField()  # type: ignore[assignment]
    kind = serializers.CharField()
    asks = serializers.CharField(
        allow_blank=True, help_text="What `asked` has to hold: design, deadline, variant"
    )


class CaseFull(serializers.Serializer[Any]):
    """A case with what can be decided in it."""

    kind = serializers.CharField()
    case = serializers.UUIDField(source="uuid")
    target_kind = serializers.CharField()
    target = serializers.UUIDField(source="target_uuid")
    design = serializers.UUIDField(source="design.uuid", default=None, allow_null=True)
    says = serializers.CharField(allow_blank=True, help_text="The finding in a sentence")
    barred = serializers.BooleanField(help_text="You, or a colleague, have a part in it")
    seen = serializers.CharField(help_text="Send it with the decision: it names what was on the screen")
    acts = ActLine(many=True)
    disputes = DisputeFull(many=True)
    history = DecisionLine(many=True)
