"""What a chart would become under a decision that nobody has made yet: computed, not guessed; not stored."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any
from uuid import NAMESPACE_OID, UUID, uuid5

from django.core.cache import cache

from registry.models import CurrentChart, Decision, Design
from registry.selectors.evidence import Overlays, canonical, decisions_in_force, digest_of
from registry.selectors.tolerance import cells_by_place
from registry.services.charts import chart_of, frozen_inputs, reasons_against
from registry.services.holding import FOR_TWO
from registry.services.snapshots import snapshot_in_force

Plain = dict[str, Any]
KEPT_SECONDS = 3600


@dataclass(frozen=True)
class CellChange:
    """A place whose state, standing or counts would be others."""

    cell: Plain
    before: Plain | None
    after: Plain | None


@dataclass(frozen=True)
class Ahead:
    """changes: what a reader would see, states first; counted: places where only the counts differ;
    reasons: what a moderator must answer for; finding: what would be said of the sheet."""

    changes: tuple[CellChange, ...]
    counted: int
    agreed: tuple[int, int]
    units: tuple[int, int]
    reasons: tuple[Plain, ...]
    finding: Plain | None

    @property
    def touches_start(self) -> bool:
        return any(reason["code"] in FOR_TWO for reason in self.reasons)


def supposed(kind: str, target: UUID, payload: Plain) -> Decision:
    """A decision that exists in thought only, the same each time so that its chart can be kept."""
    name = digest_of([kind, str(target), payload])
    return Decision(uuid=uuid5(NAMESPACE_OID, name), kind=kind, target_uuid=target, payload=payload)


def chart_under(design: Design, decision: Decision | None) -> Plain:
    """The chart under the decisions in force and this one; kept for an hour by its inputs' digest."""
    decisions = decisions_in_force()
    if decision is not None:
        decisions = [*decisions, decision]
    snapshot = snapshot_in_force()
    inputs = frozen_inputs(design, snapshot, Overlays(decisions))
    key = f"chart-under-{digest_of(inputs)}"
    kept = cache.get(key)
    if kept is None:
        _inputs, content = chart_of(design, inputs, snapshot)
        kept = canonical(content)
        cache.set(key, kept, KEPT_SECONDS)
    plain: Plain = json.loads(kept)
    return plain


def chart_ahead(design: Design, decision: Decision, *, sheet: UUID | None = None) -> Ahead:
    """How the chart differs from the one of now if the decision were made."""
    before, after = chart_under(design, None), chart_under(design, decision)
    changes, counted = _changes(before, after)
    current = CurrentChart.objects.filter(design=design).select_related("revision").first()
    found = next((f for f in after["submissions"] if f["submission"] == str(sheet)), None)
    return Ahead(
        changes=tuple(changes),
        counted=counted,
        agreed=(_agreed(before), _agreed(after)),
        units=(before["counts"]["units"], after["counts"]["units"]),
        reasons=() if current is None else tuple(reasons_against(current.revision, after)),
        finding=found,
    )


def _changes(before: Plain, after: Plain) -> tuple[list[CellChange], int]:
    changes, counted = [], 0
    tables = {variant["variant"]: cells_by_place(variant) for variant in before["variants"]}
    later = {variant["variant"]: cells_by_place(variant) for variant in after["variants"]}
    for key in [*tables, *(key for key in later if key not in tables)]:
        old, new = tables.get(key, {}), later.get(key, {})
        for place in [*old, *(place for place in new if place not in old)]:
            was, now = old.get(place), new.get(place)
            if _seen(was) != _seen(now):
                changes.append(CellChange(now or was or {}, was, now))
            elif was is not None and now is not None and was["units"] != now["units"]:
                counted += 1
    changes.sort(key=lambda change: _state(change.before) == _state(change.after))
    return changes, counted


def _seen(cell: Plain | None) -> tuple[Any, Any]:
    return (None, "unread") if cell is None else (cell["state"], cell["standing"])


def _state(cell: Plain | None) -> Any:
    return None if cell is None else cell["state"]


def _agreed(chart: Plain) -> int:
    return sum(cell["standing"] == "agreed" for variant in chart["variants"] for cell in variant["cells"])
