"""Every kind of decision with what it needs, does and takes back."""

from registry.models import Decision, Target
from registry.services.effects import accounts, catalogue, revisions, sheets
from registry.services.effects.base import Effect, counted_in, routing


def settled_designs(decision: Decision) -> set[int]:
    """An open dispute about a cell marks it in the chart; settling it takes the mark away."""
    return counted_in(None, decision.target_uuid, routing()) if decision.target_kind == Target.CELL else set()


EFFECTS: dict[str, Effect] = {
    **sheets.EFFECTS,
    **revisions.EFFECTS,
    **accounts.EFFECTS,
    **catalogue.EFFECTS,
    Decision.Kind.SETTLE_DISPUTE: Effect(tuple(Target.values), designs=settled_designs),
}
