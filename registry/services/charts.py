"""Charts: computed from frozen inputs, held where a reader could be hurt, published as numbered revisions."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from registry.bridge import charts as bridge
from registry.models import (
    Change,
    ChartRevision,
    CurrentChart,
    Design,
    RefreshTrouble,
    ReliabilitySnapshot,
    Sheet,
    SheetFinding,
)
from registry.selectors.evidence import (
    Inputs,
    Overlays,
    approved_by_decision,
    canonical,
    design_inputs,
    digest_of,
    inputs_readings,
)
from registry.selectors.kept_charts import shape_key
from registry.selectors.mirrors import is_mirror
from registry.services.changes import change_of_revision
from registry.services.holding import reasons_to_hold
from registry.services.newcomers import reasons_of_newcomers
from registry.services.recall import tell_change
from registry.services.snapshots import snapshot_in_force
from registry.services.variant_keys import keys_for, keys_store

State = ChartRevision.State
REFRESH_LOCKS = 0x6271  # class of PostgreSQL's advisory locks; the design is the second half


def chart_refresh(*, design_id: int) -> ChartRevision | None:
    """Compute the design's chart under the snapshot in force; a new revision only if a reader sees a change.

    Returns the new revision, None where nothing changed.  Two refreshes of one design never overlap, and
    nobody who sends a sheet waits for one: the design's row is held only to say at the end that the chart is
    fresh, which it is not if evidence came in the meantime.
    """
    with transaction.atomic():
        _hold_refresh(design_id)
        design = Design.objects.get(pk=design_id)
        revision = _refreshed(design, snapshot_in_force())
        Design.objects.filter(pk=design.pk, changes=design.changes).update(stale=False)
        RefreshTrouble.objects.filter(design=design).delete()
        return revision


def _hold_refresh(design_id: int) -> None:
    """Until the transaction ends.  SQLite has one writer at a time anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [REFRESH_LOCKS, design_id])


def _refreshed(design: Design, snapshot: ReliabilitySnapshot) -> ChartRevision | None:
    if is_mirror():
        return None  # its charts are those of the registry that it follows
    if design.merged_into_id is not None:
        return None  # its sheets count in the other design until the merge is undone
    inputs = frozen_inputs(design, snapshot)
    evidence = digest_of(inputs)
    newest = design.revisions.order_by("-number").first()
    latest = design.revisions.exclude(state=State.REFUSED).order_by("-number").first()
    # The newest one may be one that a moderator refused: the same evidence doesn't ask again.
    if any(one is not None and one.evidence == evidence for one in (newest, latest)):
        return None
    if latest is None and not inputs["sheets"]:
        return None
    inputs, content = chart_of(design, inputs, snapshot)
    keys_store(design, content)
    if latest is not None and bytes(latest.content) == canonical(content):
        return None
    return _add(design, inputs, content, snapshot)


def chart_of(design: Design, inputs: Inputs, snapshot: ReliabilitySnapshot) -> tuple[Inputs, dict[str, Any]]:
    """Inputs with the variants' keys, and the chart; writes nothing.

    Where the evidence is as it once was, as after an undo, so are chart, keys and digest.
    """
    earlier = design.revisions.filter(evidence=digest_of(inputs)).order_by("-number").first()
    if earlier is not None:
        return earlier.inputs, json.loads(bytes(earlier.content))
    content = chart_content(inputs, snapshot)
    bound = {entry["variant"] for entry in inputs["sheets"] if entry["variant"]}
    keys = keys_for(design, content, bound)
    if keys:
        inputs = {**inputs, "keys": keys}
        content = chart_content(inputs, snapshot)
    return inputs, content


def frozen_inputs(design: Design, snapshot: ReliabilitySnapshot, overlays: Overlays | None = None) -> Inputs:
    """All that the chart is a function of; its digest names the chart."""
    return {
        **design_inputs(design, overlays),
        "keys": {},
        "snapshot": snapshot.digest,
        "settings": bridge.engine_settings(),
        "engine": bridge.ENGINE_VERSION,
    }


def chart_content(inputs: Inputs, snapshot: ReliabilitySnapshot) -> dict[str, Any]:
    """The chart as a plain document: no time, no number, no translated text."""
    return bridge.chart_document(inputs, inputs_readings(inputs), snapshot.content)


def _add(
    design: Design, inputs: Inputs, content: dict[str, Any], snapshot: ReliabilitySnapshot
) -> ChartRevision:
    current = CurrentChart.objects.filter(design=design).select_related("revision").first()
    published = None if current is None else json.loads(bytes(current.revision.content))
    last = design.revisions.order_by("-number").first()
    reasons = [] if published is None else reasons_to_hold(published, content)
    if published is not None:
        reasons += reasons_of_newcomers(published, content, timezone.now())
    if last is not None and last.state == State.WITHDRAWN:
        reasons.append({"code": "after_withdrawal"})
    evidence = digest_of({**inputs, "keys": {}})
    if reasons and approved_by_decision(design, evidence):
        reasons = []  # moderators saw this very chart when they decided
    stored = canonical(content)
    # An older revision that still waits is overtaken by this one.
    design.revisions.filter(state=State.HELD).update(state=State.REFUSED)
    revision = ChartRevision.objects.create(
        design=design,
        number=1 if last is None else last.number + 1,
        digest=digest_of(inputs),
        evidence=evidence,
        content=stored,
        content_sha256=hashlib.sha256(stored).hexdigest(),
        inputs=inputs,
        snapshot=snapshot,
        state=State.HELD if reasons else State.PUBLISHED,
        held_because=reasons,
        published_at=None if reasons else timezone.now(),
    )
    findings_store(revision, content)
    if not reasons:
        show_revision(revision, content)
        tell_change(revision, published)
    return revision


def findings_store(revision: ChartRevision, content: dict[str, Any]) -> None:
    """What the newest computation says of each sheet, published or held."""
    entries = {entry["submission"]: entry for entry in content["submissions"]}
    sheets = Sheet.objects.filter(uuid__in=list(entries)).values_list("pk", "uuid")
    SheetFinding.objects.filter(revision__design=revision.design).delete()
    SheetFinding.objects.filter(sheet__in=[pk for pk, _ in sheets]).delete()
    SheetFinding.objects.bulk_create(
        SheetFinding(
            sheet_id=pk,
            revision=revision,
            finding=entries[str(uuid)]["finding"],
            p=entries[str(uuid)]["p"],
            variant=entries[str(uuid)]["variant"] or "",
            body=entries[str(uuid)],
        )
        for pk, uuid in sheets
    )


WEAKEST_FIRST = ("disputed", "thin", "provisional", "agreed")


def show_revision(revision: ChartRevision, content: dict[str, Any]) -> None:
    """Make this revision the one that readers are shown."""
    cells = [cell for variant in content["variants"] for cell in variant["cells"]]
    standings = {cell["standing"] for cell in cells}
    weakest = next((word for word in WEAKEST_FIRST if word in standings), "unread")
    shown = CurrentChart.objects.filter(design=revision.design).values_list("revision_id", flat=True).first()
    if shown != revision.pk:
        change_of_revision(revision, Change.Kind.CHART_PUBLISHED)
    CurrentChart.objects.update_or_create(
        design=revision.design,
        defaults={
            "revision": revision,
            "standing": weakest,
            "cells": sum(cell["standing"] != "unread" for cell in cells),
            "cells_agreed": sum(cell["standing"] == "agreed" for cell in cells),
            "units": sum(variant["units"] for variant in content["variants"]),
            "contributors": content["contributors"],
            "shape_key": shape_key(content),
        },
    )


def revision_verify(revision: ChartRevision) -> str:
    """ "same", "differs", or "other engine" where this engine can't be expected to give the same bytes."""
    if revision.inputs["engine"] != bridge.ENGINE_VERSION:
        return "other engine"
    assert revision.snapshot is not None
    content = canonical(chart_content(revision.inputs, revision.snapshot))
    same = content == bytes(revision.content) and digest_of(revision.inputs) == revision.digest
    return "same" if same else "differs"
