"""Charts, snapshots, decisions and disputes of a package; what does not match its digest is refused."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from registry.errors import RegistryError
from registry.formats.canonical import digest_of
from registry.models import (
    Change,
    ChartRevision,
    CurrentChart,
    Decision,
    Design,
    Dispute,
    ReliabilitySnapshot,
)
from registry.services.changes import change_of_revision
from registry.services.charts import findings_store, show_revision
from registry.translation import gettext as _

Plain = dict[str, Any]
State = ChartRevision.State


def load_snapshots(rows: Iterable[Plain], lines: Iterable[bytes]) -> dict[int, ReliabilitySnapshot]:
    """The snapshots by the numbers that the package gives them; they keep their numbers here."""
    found: dict[int, ReliabilitySnapshot] = {}
    for row, line in zip(rows, lines, strict=True):
        content = json.loads(line)
        if digest_of(content) != row["digest"]:
            raise _damaged(_("Snapshot {n}").format(n=row["snapshot"]))
        snapshot = ReliabilitySnapshot.objects.filter(number=row["snapshot"]).first()
        if snapshot is not None and snapshot.digest != row["digest"]:
            raise RegistryError(
                "snapshot_differs",
                _("Snapshot {n} is another one here.").format(n=row["snapshot"]),
                _("Load the package, or mirror the registry, into an empty instance."),
            )
        found[row["snapshot"]] = snapshot or ReliabilitySnapshot.objects.create(
            uuid=row["id"],
            origin=row["origin"],
            number=row["snapshot"],
            engine=row["engine"],
            digest=row["digest"],
            content=content,
        )
    return found


def load_charts(
    rows: Iterable[Plain],
    contents: Iterable[bytes],
    inputs: Iterable[bytes],
    designs: dict[str, Design],
    snapshots: dict[int, ReliabilitySnapshot],
) -> int:
    """Revisions, which ones readers are shown, what the newest says of each sheet; how many are new."""
    added = 0
    known = {str(one.uuid): one for one in _revisions(designs)}
    shown: dict[int, tuple[ChartRevision, bytes]] = {}
    newest: dict[int, tuple[ChartRevision, bytes]] = {}
    for row, content, frozen in zip(rows, contents, inputs, strict=True):
        revision = known.get(row["id"])
        if revision is None:
            revision = _added(row, content, frozen, designs[row["design"]], snapshots)
            added += 1
        elif revision.content_sha256 != row["content_sha256"]:
            raise _damaged(_("Revision {n}").format(n=row["revision"]))
        _stand(revision, row)
        newest[revision.design_id] = (revision, content)
        if row["current"]:
            shown[revision.design_id] = (revision, content)
    for design in designs.values():
        if design.pk not in shown:
            CurrentChart.objects.filter(design=design).delete()
    for revision, content in shown.values():
        show_revision(revision, json.loads(content))
    for revision, content in newest.values():
        findings_store(revision, json.loads(content))
    return added


def _revisions(designs: dict[str, Design]) -> Iterable[ChartRevision]:
    ids = sorted(design.pk for design in designs.values())
    for start in range(0, len(ids), 500):
        rows = ChartRevision.objects.filter(design__in=ids[start : start + 500])
        yield from rows.defer("content", "inputs").select_related("design")


def _added(
    row: Plain, content: bytes, frozen: bytes, design: Design, snapshots: dict[int, ReliabilitySnapshot]
) -> ChartRevision:
    inputs = json.loads(frozen)
    sha256 = hashlib.sha256(content).hexdigest()
    if sha256 != row["content_sha256"] or digest_of(inputs) != row["digest"]:
        raise _damaged(_("Revision {n} of {design}").format(n=row["revision"], design=design.name))
    return ChartRevision.objects.create(
        uuid=row["id"],
        origin=row["origin"],
        design=design,
        number=row["revision"],
        digest=row["digest"],
        evidence=row["evidence"],
        content=content,
        content_sha256=sha256,
        inputs=inputs,
        snapshot=None if row["snapshot"] is None else snapshots[row["snapshot"]],
        state=row["state"],
        published_at=row["published_at"],
        withdrawn_at=row["withdrawn_at"],
        withdrawn_reason=row["withdrawn_reason"],
    )


def _stand(revision: ChartRevision, row: Plain) -> None:
    """Published, or withdrawn meanwhile with its reason."""
    names = ("state", "withdrawn_at", "withdrawn_reason")
    if all(getattr(revision, name) == row[name] for name in names):
        return
    withdrawn = revision.state != State.WITHDRAWN and row["state"] == State.WITHDRAWN
    for name in names:
        setattr(revision, name, row[name])
    revision.save(update_fields=list(names))
    if withdrawn:
        change_of_revision(revision, Change.Kind.CHART_WITHDRAWN)


def load_decisions(rows: Iterable[Plain]) -> None:
    """In their order: of two about one sheet the later one holds.  Whom they concern is not in a package."""
    for row in rows:
        decision, _made = Decision.objects.update_or_create(
            uuid=row["decision"],
            defaults={
                "state": row["state"],
                "effective_at": row["effective_at"],
                "undone_at": row["undone_at"],
            },
            create_defaults={
                "origin": row["origin"],
                "kind": row["kind"],
                "target_kind": row["target_kind"],
                "target_uuid": row["target"] or row["decision"],
                "target_cell": row["target_cell"],
                "payload": row["payload"],
                "reason": row["reason"] or "–",
                "needs_second": row["needs_second"],
                "state": row["state"],
                "effective_at": row["effective_at"],
                "undone_at": row["undone_at"],
            },
        )
        Decision.objects.filter(pk=decision.pk).update(created_at=row["made_at"])  # not the time of loading


def load_disputes(rows: Iterable[Plain]) -> None:
    for row in rows:
        Dispute.objects.update_or_create(
            uuid=row["dispute"],
            defaults={"state": row["state"]},
            create_defaults={
                "origin": row["origin"],
                "target_kind": row["target_kind"],
                "target_uuid": row["target"],
                "target_cell": row["target_cell"],
                "reason": "–",
                "state": row["state"],
            },
        )


def _damaged(what: str) -> RegistryError:
    return RegistryError(
        "package_digest",
        _("{what} is not what its digest says.").format(what=what),
        _("Get it again from where it comes from."),
    )
