"""Charts: computed from frozen inputs, held where a reader could be hurt, published as numbered revisions."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from django.db import connection, transaction
from django.db.models import Q
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
    evidence_named,
)
from registry.selectors.kept_charts import shape_key
from registry.selectors.mirrors import is_mirror
from registry.services.audit import record
from registry.services.changes import change_of_revision
from registry.services.first_figures import reasons_of_creeping
from registry.services.holding import reasons_of_history, reasons_to_hold
from registry.services.newcomers import reasons_of_newcomers
from registry.services.plain_rows import rows_write
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
    return chart_refreshed(design_id=design_id)[0]


def chart_refreshed(*, design_id: int) -> tuple[ChartRevision | None, bool]:
    """As `chart_refresh`; and whether the chart is fresh now."""
    with transaction.atomic():
        _hold_refresh(design_id)
        design = Design.objects.select_related("trouble").get(pk=design_id)
        revision = _refreshed(design, snapshot_in_force())
        fresh = Design.objects.filter(pk=design.pk, changes=design.changes).update(stale=False)
        if hasattr(design, "trouble"):
            RefreshTrouble.objects.filter(design=design).delete()
        return revision, bool(fresh)


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
    revisions = design.revisions.order_by("-number").defer("inputs")
    latest = newest = revisions.first()
    if newest is not None and newest.state == State.REFUSED:
        latest = revisions.exclude(state=State.REFUSED).first()
    # The newest one may be one that a moderator refused: the same evidence doesn't ask again.
    if any(one is not None and one.evidence == evidence for one in (newest, latest)):
        return None
    if latest is None and not inputs["sheets"]:
        return None
    earlier = None if newest is None else _earlier(design, evidence)
    inputs, content = earlier or _computed(design, inputs, snapshot)
    keys_store(design, content)
    stored = canonical(content)
    if latest is not None and bytes(latest.content) == stored:
        return None
    return _add(design, inputs, content, stored, evidence, snapshot)


def chart_of(design: Design, inputs: Inputs, snapshot: ReliabilitySnapshot) -> tuple[Inputs, dict[str, Any]]:
    """Inputs with the variants' keys, and the chart; writes nothing."""
    return _earlier(design, digest_of(inputs)) or _computed(design, inputs, snapshot)


def _earlier(design: Design, evidence: str) -> tuple[Inputs, dict[str, Any]] | None:
    """Where the evidence is as it once was, as after an undo, so are chart, keys and digest."""
    revisions = design.revisions.filter(evidence=evidence).order_by("-number")
    earlier = revisions.values_list("inputs", "content").first()
    return None if earlier is None else (earlier[0], json.loads(bytes(earlier[1])))


def _computed(design: Design, inputs: Inputs, snapshot: ReliabilitySnapshot) -> tuple[Inputs, dict[str, Any]]:
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
    return bridge.chart_document(inputs, evidence_named(inputs), snapshot.content)


def _add(
    design: Design,
    inputs: Inputs,
    content: dict[str, Any],
    stored: bytes,
    evidence: str,
    snapshot: ReliabilitySnapshot,
) -> ChartRevision:
    # The newest there is, whatever became of it: locked, for a moderator may have withdrawn it while this
    # one was computed, or be about to.
    newest = design.revisions.select_for_update(no_key=True).order_by("-number").defer("inputs", "content")
    last = newest.first()
    current = None if last is None else _current(design)
    published = None if current is None else json.loads(bytes(current.revision.content))
    reasons = []
    if current is not None and published is not None:
        reasons = _reasons_against(current.revision, published, content)
        reasons += reasons_of_creeping(design, content, besides=reasons)
        reasons += reasons_of_newcomers(published, content, timezone.now())
    shown_last = newest.exclude(state__in=[State.HELD, State.REFUSED]).first()
    if shown_last is not None and shown_last.state == State.WITHDRAWN:
        reasons.append({"code": "after_withdrawal"})
    approved = approved_by_decision(design, evidence) if reasons else ""
    if approved:
        # Moderators saw this very chart when they decided.  But what was withdrawn is brought back by a
        # decision about that alone; and taking a decision back is no word for a table of newcomers.
        stay = ("after_withdrawal", "variant_new") if approved == "undone" else ("after_withdrawal",)
        reasons = [reason for reason in reasons if reason["code"] in stay]
    if last is not None:  # an older revision that still waits is overtaken by this one
        design.revisions.filter(state=State.HELD).update(state=State.REFUSED)
    revision = ChartRevision.objects.create(
        design=design,
        number=1 if last is None else last.number + 1,
        digest=digest_of(inputs) if inputs.get("keys") else evidence,
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
        publication_record(revision)
        tell_change(revision, published)
    return revision


def publication_record(revision: ChartRevision) -> None:
    """Its bytes by their digest in the log, so that whoever has a copy of the chain can hold them to it."""
    record(
        by=None,
        action="revision_publish",
        target_kind="revision",
        target_uuid=revision.uuid,
        number=revision.number,
        content_sha256=revision.content_sha256,
    )


def reasons_against(shown: ChartRevision, content: dict[str, Any]) -> list[dict[str, Any]]:
    """Why a moderator must look at this chart where readers are shown that revision."""
    return _reasons_against(shown, json.loads(bytes(shown.content)), content)


def _reasons_against(
    shown: ChartRevision, published: dict[str, Any], content: dict[str, Any]
) -> list[dict[str, Any]]:
    """published: what the revision says."""
    return [
        *reasons_to_hold(published, content),
        *reasons_of_history(published, content, _shown_before(shown)),
    ]


def _current(design: Design) -> CurrentChart | None:
    shown = CurrentChart.objects.filter(design=design).select_related("revision")
    return shown.defer("revision__inputs").first()


def _shown_before(revision: ChartRevision) -> Iterator[dict[str, Any]]:
    """What readers were shown before this revision, newest first, one at a time."""
    earlier = ChartRevision.objects.filter(design=revision.design_id, number__lt=revision.number)
    shown = earlier.filter(state=State.PUBLISHED).order_by("-number").values_list("content", flat=True)
    for content in shown.iterator(chunk_size=20):
        yield json.loads(bytes(content))


def findings_store(revision: ChartRevision, content: dict[str, Any]) -> None:
    """What the newest computation says of each sheet, published or held."""
    entries = {entry["submission"]: entry for entry in content["submissions"]}
    sheets = Sheet.objects.filter(uuid__in=list(entries)).values_list("pk", "uuid")
    of_design = ChartRevision.objects.filter(design=revision.design_id).values("pk")
    of_sheets = Q(sheet__in=[pk for pk, _ in sheets])  # may have come from another design
    SheetFinding.objects.filter(of_sheets | Q(revision__in=of_design)).delete()
    rows = []
    for pk, uuid in sheets:
        entry = entries[str(uuid)]
        words = (entry["finding"], entry["p"], entry["variant"] or "", json.dumps(entry))
        rows.append((pk, revision.pk, *words))
    rows_write(SheetFinding, ("sheet", "revision", "finding", "p", "variant", "body"), rows)


WEAKEST_FIRST = ("disputed", "thin", "provisional", "agreed")


def show_revision(revision: ChartRevision, content: dict[str, Any]) -> None:
    """Make this revision the one that readers are shown."""
    cells = [cell for variant in content["variants"] for cell in variant["cells"]]
    standings = {cell["standing"] for cell in cells}
    weakest = next((word for word in WEAKEST_FIRST if word in standings), "unread")
    shown = CurrentChart.objects.filter(design=revision.design).values_list("revision_id", flat=True).first()
    if shown != revision.pk:
        change_of_revision(revision, Change.Kind.CHART_PUBLISHED)
    facts = {
        "revision": revision,
        "standing": weakest,
        "cells": sum(cell["standing"] != "unread" for cell in cells),
        "cells_agreed": sum(cell["standing"] == "agreed" for cell in cells),
        "units": sum(variant["units"] for variant in content["variants"]),
        "contributors": content["contributors"],
        "shape_key": shape_key(content),
    }
    if not CurrentChart.objects.filter(design=revision.design).update(**facts):
        CurrentChart.objects.bulk_create(
            [CurrentChart(design=revision.design, **facts)],
            update_conflicts=True,  # by another process at this moment: the later one stays
            unique_fields=["design"],
            update_fields=list(facts),
        )


def revision_verify(revision: ChartRevision) -> str:
    """ "same", "differs", or "other engine" where this engine can't be expected to give the same bytes."""
    if revision.inputs["engine"] != bridge.ENGINE_VERSION:
        return "other engine"
    assert revision.snapshot is not None
    content = canonical(chart_content(revision.inputs, revision.snapshot))
    same = content == bytes(revision.content) and digest_of(revision.inputs) == revision.digest
    return "same" if same else "differs"
