"""Changes are noted in the transaction of the deed and numbered after it, as the log is sealed.

Were a number taken while the transaction is open, a reader could see 8 before 7 is committed and never learn
of 7; were it taken under a lock, every write would wait for the one before.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import connection, transaction
from django.db.models import Max

from registry.models import Change, ChartRevision, Decision, Sheet
from registry.services.webhook_queue import queue_deliveries

NUMBER_LOCK = 0x62710003  # of PostgreSQL's advisory locks; SQLite has one writer at a time
Plain = dict[str, Any]

# The log's actions that others are told of.
SHEET_ACTIONS = {
    "sheet_submit": Change.Kind.SHEET_ADDED,
    "sheets_submit": Change.Kind.SHEET_ADDED,
    "sheet_amend": Change.Kind.SHEET_AMENDED,
    "sheet_withdraw": Change.Kind.SHEET_WITHDRAWN,
    "sheet_restore": Change.Kind.SHEET_RESTORED,
}
DECISION_ACTIONS = {
    "decision_in_force": Change.Kind.DECISION_IN_FORCE,
    "decision_undone": Change.Kind.DECISION_UNDONE,
}


def change_note(*, kind: str, design: UUID | None, payload: Plain) -> None:
    Change.objects.create(kind=kind, design_uuid=design, payload=payload)
    transaction.on_commit(changes_number, robust=True)  # the next one, or the next reader, makes up for it


def changes_number() -> int:
    """Number what is not yet; how many there were.  A reader who finds nothing to do writes nothing."""
    count = _number() if Change.objects.filter(number=None).exists() else 0
    if count:
        queue_deliveries()
    return count


@transaction.atomic
def _number() -> int:
    """Two never overlap, and no number is left out."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [NUMBER_LOCK])
    first = Change.objects.aggregate(newest=Max("number"))["newest"] or 0
    unnumbered = Change.objects.filter(number=None).order_by("pk").values_list("pk", flat=True)
    numbers = [(number, pk) for number, pk in enumerate(unnumbered, start=first + 1)]
    table = connection.ops.quote_name(Change._meta.db_table)
    with connection.cursor() as cursor:
        cursor.executemany(f"UPDATE {table} SET number = %s WHERE id = %s", numbers)  # noqa: S608
    return len(numbers)


def change_of_revision(revision: ChartRevision, kind: str) -> None:
    """A chart was published, or withdrawn."""
    change_note(
        kind=kind,
        design=revision.design.uuid,
        payload={
            "revision": revision.number,
            "digest": revision.digest,
            "content_sha256": revision.content_sha256,
            "state": revision.state,
            "reason": revision.withdrawn_reason,
        },
    )


def change_of_deed(action: str, target_uuid: UUID | None, detail: Plain) -> None:
    """What a line of the log means to those who follow; nothing, for most."""
    if action in SHEET_ACTIONS:
        ids = [target_uuid] if target_uuid is not None else [UUID(text) for text in detail.get("sheets", [])]
        change_of_sheets(SHEET_ACTIONS[action], ids)
    elif action in DECISION_ACTIONS and detail.get("decision"):
        _decision(DECISION_ACTIONS[action], UUID(str(detail["decision"])))
    elif action == "design_propose":
        change_note(kind=Change.Kind.DESIGN_ADDED, design=target_uuid, payload={})


def change_of_sheets(kind: str, ids: Sequence[UUID]) -> None:
    """Sheets that were added, amended, withdrawn or brought back."""
    for start in range(0, len(ids), 500):
        sheets = Sheet.objects.filter(uuid__in=ids[start : start + 500], versions__is_current=True)
        rows = sheets.order_by("pk").values_list(
            "uuid", "design__uuid", "contributor__pseudonym", "versions__number", "versions__digest"
        )
        Change.objects.bulk_create(
            Change(
                kind=kind,
                design_uuid=design,
                payload={
                    "submission": str(sheet),
                    "version": version,
                    "contributor": contributor,
                    "digest": digest,
                },
            )
            for sheet, design, contributor, version, digest in rows
        )
    transaction.on_commit(changes_number, robust=True)


def _decision(kind: str, uuid: UUID) -> None:
    decision = Decision.objects.filter(uuid=uuid).first()
    if decision is None or decision.kind == Decision.Kind.SUSPEND:
        return
    design = decision.target_uuid if decision.target_kind in ("design", "cell") else None
    change_note(kind=kind, design=design, payload={"decision": str(uuid), "kind": decision.kind})
