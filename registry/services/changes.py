"""Changes are noted within the deed and numbered after it, as the log is sealed (`after_deed`)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any
from uuid import UUID

from registry.models import Change, ChartRevision, Decision, Design, Sheet, SheetVersion
from registry.selectors.designs_about import designs_about
from registry.services.after_deed import settle, settle_soon

_AT_THE_END: ContextVar[bool] = ContextVar("numbered_at_the_end", default=False)
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
# Of the job around a switch: what is told of which design, and the rows that lead to it.
JOB_ACTIONS: dict[str, tuple[str, str]] = {
    "fact_answer": ("facts", "facts__uuid"),
    "fact_take_back": ("facts", "facts__uuid"),
    "unit_event": ("unit_events", "units__uuid"),
    "unit_event_take_back": ("unit_events", "units__uuid"),
    "fleet_confirm": ("workshops", "units__contributor__workshop__uuid"),
    "fleet_end": ("workshops", "units__contributor__workshop__uuid"),
    "outcome_send": ("outcomes", "uuid"),
    "outcome_take_back": ("outcomes", "uuid"),
}


def change_note(*, kind: str, design: UUID | None, payload: Plain) -> None:
    changes_store([Change(kind=kind, design_uuid=design, payload=payload)])


def changes_store(changes: Iterable[Change]) -> None:
    """Lines of the feed, in this order."""
    rows = list(changes)
    if len(rows) == 1:
        rows[0].save(force_insert=True)
    else:
        Change.objects.bulk_create(rows, batch_size=2000)
    if not _AT_THE_END.get():
        settle_soon(number=True)


@contextmanager
def numbered_at_the_end() -> Iterator[None]:
    """Many transactions in a row: their changes get numbers once, or from a reader who asks earlier."""
    token = _AT_THE_END.set(True)
    try:
        yield
    finally:
        _AT_THE_END.reset(token)
    changes_number()


def changes_number() -> int:
    """Number what is not yet; how many there were.  A reader who finds nothing to do writes nothing."""
    waiting = Change.objects.filter(number=None).exists()
    return settle(number=True, seal=False)[0] if waiting else 0


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
    elif action in JOB_ACTIONS:
        _job_told(action, target_uuid)


def change_of_sheets(kind: str, ids: Sequence[UUID]) -> None:
    """Sheets that were added, amended, withdrawn or brought back."""
    for start in range(0, len(ids), 500):
        sheets = Sheet.objects.filter(uuid__in=ids[start : start + 500], versions__is_current=True)
        rows = sheets.order_by("pk").values_list(
            "uuid", "design__uuid", "contributor__pseudonym", "versions__number", "versions__digest"
        )
        changes_store(_sheet_line(kind, *row) for row in rows)


def change_of_version(kind: str, version: SheetVersion) -> Change:
    """The line of one sheet, whose version is at hand."""
    sheet = version.sheet
    return _sheet_line(
        kind, sheet.uuid, sheet.design.uuid, sheet.contributor.pseudonym, version.number, version.digest
    )


def _sheet_line(kind: str, sheet: UUID, design: UUID, contributor: str, version: int, digest: str) -> Change:
    payload = {"submission": str(sheet), "version": version, "contributor": contributor, "digest": digest}
    return Change(kind=kind, design_uuid=design, payload=payload)


def _decision(kind: str, uuid: UUID) -> None:
    decision = Decision.objects.filter(uuid=uuid).first()
    if decision is None or decision.kind == Decision.Kind.SUSPEND:
        return
    payload = {"decision": str(uuid), "kind": decision.kind}
    for design in _decided(decision) or [None]:
        change_note(kind=kind, design=design, payload=payload)


def _decided(decision: Decision) -> list[UUID | None]:
    """The designs that a decision is about, and the one that its sheet or design goes to."""
    found: list[UUID | None] = list(designs_about(decision.target_kind, decision.target_uuid))
    there = UUID(decision.payload["design"]) if "design" in decision.payload else None
    return found if there is None or there in found else [*found, there]


def _job_told(action: str, target_uuid: UUID | None) -> None:
    """One line for each design that it is about: which table of the package changed."""
    table, leads = JOB_ACTIONS[action]
    designs = Design.objects.filter(**{leads: target_uuid}).distinct().order_by("pk")
    for design in designs.values_list("uuid", flat=True):
        change_note(kind=Change.Kind.JOB_TOLD, design=design, payload={"table": table})
