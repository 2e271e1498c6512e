"""What a decision would make of the charts, computed before anybody is bound by it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from registry.models import CurrentChart, Decision, Design
from registry.selectors.evidence import digest_of
from registry.services.charts import chart_of, frozen_inputs, reasons_against
from registry.services.effects import EFFECTS
from registry.services.holding import FOR_TWO
from registry.services.snapshots import snapshot_in_force


@dataclass(frozen=True)
class ChartsAhead:
    """evidence: digest of each chart's inputs by design uuid; reasons: why a moderator must look at them."""

    evidence: dict[str, str]
    reasons: tuple[dict[str, Any], ...]

    @property
    def touch_start(self) -> bool:
        """A settled cell of a start position changes or goes, or a whole table does."""
        return any(reason["code"] in FOR_TWO for reason in self.reasons)


class _Back(Exception):
    pass


def charts_ahead(decision: Decision, act: Callable[[], None]) -> ChartsAhead:
    """The charts as they would be after `act`, which is done and taken back within a savepoint."""
    effect = EFFECTS[decision.kind]
    if not effect.previewed:
        return ChartsAhead({}, ())
    evidence: dict[str, str] = {}
    reasons: list[dict[str, Any]] = []
    snapshot = snapshot_in_force()
    designs = effect.designs(decision)
    try:
        with transaction.atomic():
            act()
            designs |= effect.designs(decision)
            for design in Design.objects.filter(pk__in=designs, merged_into=None).order_by("pk"):
                inputs = frozen_inputs(design, snapshot)
                evidence[str(design.uuid)] = digest_of(inputs)
                current = CurrentChart.objects.filter(design=design).select_related("revision").first()
                if current is not None:
                    _inputs, content = chart_of(design, inputs, snapshot)
                    reasons += reasons_against(current.revision, content)
            raise _Back
    except _Back:
        pass
    return ChartsAhead(evidence, tuple(reasons))
