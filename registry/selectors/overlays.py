"""The decisions that lie over the sheets now."""

from __future__ import annotations

from collections.abc import Iterable

from registry.formats.decision_overlays import Overlays
from registry.models import Decision

__all__ = ["OVERLAYS", "Overlays", "decisions_in_force"]

OVERLAYS = (
    Decision.Kind.SET_ASIDE,
    Decision.Kind.CORRECT,
    Decision.Kind.MOVE,
    Decision.Kind.SPLIT_VARIANT,
    Decision.Kind.MERGE_VARIANTS,
    Decision.Kind.SET_ASIDE_ACCOUNT,
    Decision.Kind.MERGE_DESIGNS,
)


def decisions_in_force(kinds: Iterable[str] = OVERLAYS) -> list[Decision]:
    return list(Decision.objects.filter(state=Decision.State.IN_FORCE, kind__in=list(kinds)).order_by("pk"))
