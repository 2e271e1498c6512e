"""The queue of the desk: what waits for a moderator, what matters most first.

Weight = how much the chart would change × how many read it × how long it has waited:
(readings or places concerned, times the finding's probability) × (1 + followers + fetches + units) ×
(1 + days waiting).  A start position counts tenfold.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count
from django.utils import timezone

from registry.models import (
    CaseClaim,
    ChartRevision,
    CurrentChart,
    Decision,
    Design,
    Dispute,
    JobFact,
    RefreshTrouble,
    Sheet,
    SheetFinding,
    Target,
    User,
)
from registry.models.catalogue import DesignState
from registry.selectors.late_tables import late_tables
from registry.selectors.standing import newcomers_alike

FITTING = ("fits", "slip", "other_variant")  # nothing to decide: slips are weighed, variants have a table
START = 10.0
MOST = 200
State = Decision.State


@dataclass(frozen=True)
class Case:
    """kind and uuid name it; word: its finding, state or reason, as a code; params: for a sentence."""

    kind: str
    uuid: UUID
    design: Design | None
    word: str
    change: float
    since: datetime
    params: dict[str, Any] = field(default_factory=dict)
    readers: int = 1
    claimed_by: User | None = None

    @property
    def days(self) -> int:
        return max(0, (timezone.now() - self.since).days)

    @property
    def weight(self) -> float:
        return self.change * self.readers * (1 + self.days)


def queue(*, kind: str = "", design: UUID | None = None, mine: User | None = None) -> list[Case]:
    """All cases that wait, heaviest first; a fixed number of queries however many there are."""
    cases = [*_sheets(), *_disputes(), *_designs(), *_revisions(), *_waiting()]
    readers = _readers({case.design.pk for case in cases if case.design is not None})
    claims = {
        (claim.kind, claim.uuid): claim.moderator
        for claim in CaseClaim.objects.filter(until__gt=timezone.now()).select_related("moderator")
    }
    found = []
    for case in cases:
        count = 1 if case.design is None else 1 + readers[case.design.pk]
        claimed = claims.get((case.kind, case.uuid))
        case = Case(**{**case.__dict__, "readers": count, "claimed_by": claimed})
        wanted = (not kind or case.kind == kind) and (mine is None or claimed == mine)
        if wanted and (design is None or (case.design is not None and case.design.uuid == design)):
            found.append(case)
    found.sort(key=lambda case: (-case.weight, case.since, str(case.uuid)))
    return found[:MOST]


def parked_designs() -> list[RefreshTrouble]:
    """Designs whose chart could not be computed again and again, until somebody has looked; longest first."""
    return list(RefreshTrouble.objects.exclude(parked_at=None).select_related("design").order_by("parked_at"))


def _readers(designs: set[int]) -> dict[int, int]:
    """Who follows a design, who fetched a revision of it, how many units are in it."""
    found: dict[int, int] = defaultdict(int)
    counted = Design.objects.filter(pk__in=designs).annotate(
        n=Count("followers", distinct=True), m=Count("fetches", distinct=True)
    )
    for pk, n, m in counted.values_list("pk", "n", "m"):
        found[pk] += n + m
    for pk, units in CurrentChart.objects.filter(design__in=designs).values_list("design", "units"):
        found[pk] += units
    return found


def _settled_sheets() -> dict[UUID, set[str]]:
    """Sheets about which something was decided or waits: the findings for which that holds, "" for any.

    What took a decision back settles nothing: the sheet is open again.
    """
    settled: dict[UUID, set[str]] = defaultdict(set)
    standing = Decision.objects.filter(target_kind=Target.SHEET, state__in=[State.WAITING, State.IN_FORCE])
    decisions = standing.exclude(kind=Decision.Kind.UNDO).values_list("kind", "target_uuid", "payload")
    answered = set(Sheet.objects.exclude(rereads=None).values_list("rereads__uuid", flat=True))
    for kind, sheet, payload in decisions:
        if kind == Decision.Kind.KEEP:
            settled[sheet].add(payload.get("finding", ""))
        elif kind != Decision.Kind.ASK_REREAD or sheet not in answered:
            settled[sheet].add("")
    return settled


def grouped_sheets() -> set[UUID]:
    """Sheets that a decision about their group names."""
    named = Decision.objects.filter(
        target_kind=Target.DESIGN,
        kind__in=[
            Decision.Kind.KEEP,
            Decision.Kind.SET_ASIDE,
            Decision.Kind.SPLIT_VARIANT,
            Decision.Kind.MERGE_VARIANTS,
        ],
        state__in=[State.WAITING, State.IN_FORCE],
    )
    payloads = named.values_list("payload", flat=True)
    return {UUID(sheet) for payload in payloads for sheet in payload.get("sheets", [])}


def _sheets() -> Iterable[Case]:
    """Sheets that don't fit; those of a group that stands against the rest are one case for their design."""
    settled = _settled_sheets()
    findings = (
        SheetFinding.objects.exclude(finding__in=FITTING)
        .filter(sheet__withdrawn_at=None)
        .select_related("sheet__design", "revision")
        .defer("revision__content", "revision__inputs")
    )
    groups: dict[int, list[SheetFinding]] = defaultdict(list)
    for finding in findings:
        sheet = finding.sheet
        if settled.get(sheet.uuid, set()) & {"", finding.finding}:
            continue
        if finding.finding == "coordinated":
            groups[sheet.design_id].append(finding)
            continue
        yield Case(
            kind="sheet",
            uuid=sheet.uuid,
            design=sheet.design,
            word=finding.finding,
            change=sheet_change(finding),
            since=sheet.created_at,
            params={"p": finding.p, "body": finding.body},
        )
    for found in newcomers_alike():
        if not settled.get(found.sheet.uuid, set()) & {"", found.finding}:
            groups[found.sheet.design_id].append(found)
    late = late_tables()
    known = grouped_sheets() if groups or late else set()
    cases = {
        group[0].sheet.design: group
        for group in groups.values()
        if not {finding.sheet.uuid for finding in group} <= known
    }
    for table in late:
        if not {finding.sheet.uuid for finding in table} & known:
            cases.setdefault(table[0].revision.design, table)
    for design, group in cases.items():
        yield Case(
            kind="variant",
            uuid=design.uuid,
            design=design,
            word=group[0].finding,
            change=sum(sheet_change(finding) for finding in group),
            since=min(finding.sheet.created_at for finding in group),
            params={"sheets": len(group)},
        )


def sheet_change(finding: SheetFinding) -> float:
    """Readings that the chart would take otherwise, by how sure the finding is."""
    params = finding.body.get("params", {})
    concerned = len(finding.body.get("cells", []))
    if params.get("mistake") or finding.finding in ("unexplained", "coordinated", "other_variant"):
        concerned = int(params.get("readings", concerned))
    return max(1.0, finding.p * concerned)


def _disputes() -> Iterable[Case]:
    disputes = list(Dispute.objects.filter(state=Dispute.State.OPEN).order_by("pk"))
    designs = _designs_of(disputes)
    for dispute in disputes:
        # a dispute about a sheet is settled where the sheet is: both show the thread
        yield Case(
            kind="dispute",
            uuid=dispute.uuid,
            design=designs.get((dispute.target_kind, dispute.target_uuid)),
            word=dispute.target_kind,
            change=4.0 if dispute.target_kind == Target.CELL else 8.0,
            since=dispute.created_at,
            params={"cell": dispute.target_cell, "reason": dispute.reason},
        )


def _designs_of(disputes: list[Dispute]) -> dict[tuple[str, UUID], Design]:
    uuids: dict[str, set[UUID]] = defaultdict(set)
    for dispute in disputes:
        uuids[dispute.target_kind].add(dispute.target_uuid)
    found: dict[tuple[str, UUID], Design] = {}
    for design in Design.objects.filter(uuid__in=uuids[Target.CELL] | uuids[Target.DESIGN]):
        found[Target.CELL, design.uuid] = found[Target.DESIGN, design.uuid] = design
    for sheet in Sheet.objects.filter(uuid__in=uuids[Target.SHEET]).select_related("design"):
        found[Target.SHEET, sheet.uuid] = sheet.design
    for fact in JobFact.objects.filter(uuid__in=uuids[Target.FACT]).select_related("design"):
        found[Target.FACT, fact.uuid] = fact.design
    revisions = ChartRevision.objects.filter(uuid__in=uuids[Target.REVISION]).select_related("design")
    for revision in revisions.defer("content", "inputs"):
        found[Target.REVISION, revision.uuid] = revision.design
    return found


def _designs() -> Iterable[Case]:
    proposed = Design.objects.filter(state=DesignState.PROPOSED, merged_into=None).annotate(n=Count("sheets"))
    for design in proposed.order_by("pk")[:MOST]:
        yield Case(
            kind="design",
            uuid=design.uuid,
            design=design,
            word="proposed",
            change=1.0 + math.log1p(design.n),
            since=design.created_at,
            params={"sheets": design.n},
        )


def _revisions() -> Iterable[Case]:
    """Held revisions; a sudden shift of what was agreed is one of them, under its own word."""
    held = ChartRevision.objects.filter(state=ChartRevision.State.HELD).select_related("design")
    for revision in held.defer("content", "inputs"):
        codes = [reason["code"] for reason in revision.held_because]
        word = next((code for code in ("start_position", "agreed_changed") if code in codes), codes[0])
        yield Case(
            kind="revision",
            uuid=revision.uuid,
            design=revision.design,
            word=word,
            change=len(codes) * 4 * (START if "start_position" in codes else 1.0),
            since=revision.created_at,
            params={"number": revision.number, "reasons": revision.held_because},
        )


def _waiting() -> Iterable[Case]:
    """Decisions that need a second moderator."""
    waiting = Decision.objects.filter(state=State.WAITING, needs_second=True, approver=None)
    decisions = list(waiting.select_related("proposer").order_by("pk"))
    pairs = [Dispute(target_kind=d.target_kind, target_uuid=d.target_uuid) for d in decisions]
    designs = _designs_of(pairs)
    for decision in decisions:
        yield Case(
            kind="decision",
            uuid=decision.uuid,
            design=designs.get((decision.target_kind, decision.target_uuid)),
            word=decision.kind,
            change=START,
            since=decision.created_at,
            params={"proposer": decision.proposer_id, "alone": bool(decision.before.get("alone"))},
        )
