"""Reliability snapshots: contributors' slip rates, learned across designs in one numbered pass."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import transaction

from registry.bridge import charts as bridge
from registry.models import Design, ReliabilitySnapshot
from registry.selectors.evidence import (
    Overlays,
    decisions_in_force,
    design_inputs,
    digest_of,
    inputs_readings,
)
from registry.selectors.mirrors import is_mirror


def snapshot_in_force() -> ReliabilitySnapshot:
    """The newest snapshot; the first one, made at need, knows nobody and holds the priors only."""
    newest = ReliabilitySnapshot.objects.order_by("-number").first()
    return newest or _store(bridge.snapshot_document([]), number=0)


@transaction.atomic
def snapshot_learn(*, progress: Callable[[int, int], None] | None = None) -> ReliabilitySnapshot:
    """A new snapshot from all sheets that count; the one in force where nothing was learned."""
    if is_mirror():
        return snapshot_in_force()
    overlays = Overlays(decisions_in_force())
    evidence = []
    designs = Design.objects.filter(sheets__isnull=False).distinct().order_by("uuid")
    for design in designs.select_related("connector__common"):
        inputs = design_inputs(design, overlays)
        if inputs["sheets"]:
            evidence.append((inputs, inputs_readings(inputs)))
    content = bridge.snapshot_document(evidence, progress)
    newest = ReliabilitySnapshot.objects.order_by("-number").first()
    if newest is not None and newest.digest == digest_of(content):
        return newest
    return _store(content, number=1 if newest is None else newest.number + 1)


def _store(content: dict[str, Any], *, number: int) -> ReliabilitySnapshot:
    snapshot, _made = ReliabilitySnapshot.objects.get_or_create(
        number=number,
        defaults={"engine": bridge.ENGINE_VERSION, "digest": digest_of(content), "content": content},
    )
    return snapshot
