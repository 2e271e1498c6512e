"""Reliability snapshots: contributors' slip rates, learned across designs in one numbered pass."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.db import transaction

from registry.bridge import charts as bridge
from registry.models import Design, ReliabilitySnapshot
from registry.selectors.evidence import Overlays, decisions_in_force, digest_of, evidence_of
from registry.selectors.mirrors import is_mirror

AT_ONCE = 50  # designs whose evidence is fetched together
_kept: dict[tuple[int, UUID], ReliabilitySnapshot] = {}  # the newest one: it never changes, and may be long


def snapshot_in_force() -> ReliabilitySnapshot:
    """The newest snapshot; the first one, made at need, knows nobody and holds the priors only."""
    global _kept
    newest = ReliabilitySnapshot.objects.order_by("-number").values_list("pk", "uuid").first()
    if newest is None:
        return _store(bridge.snapshot_document([]), number=0)
    found = _kept.get(newest)
    if found is None:
        found = ReliabilitySnapshot.objects.get(pk=newest[0])
        _kept = {newest: found}
    return found


@transaction.atomic
def snapshot_learn(*, progress: Callable[[int, int], None] | None = None) -> ReliabilitySnapshot:
    """A new snapshot from all sheets that count; the one in force where nothing was learned."""
    if is_mirror():
        return snapshot_in_force()
    # The designs first: what is decided after they were counted is counted as a change of theirs.
    designs = list(Design.objects.filter(sheets__isnull=False).distinct().order_by("uuid"))
    overlays = Overlays(decisions_in_force())
    evidence: list[bridge.Evidence] = []
    for start in range(0, len(designs), AT_ONCE):
        evidence += evidence_of(designs[start : start + AT_ONCE], overlays)
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
