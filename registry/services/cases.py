"""One case on one screen: what it is about, the evidence, what could be decided and what that would do."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.utils import timezone

from registry.bridge.corrections import suggested_correction
from registry.errors import RegistryError
from registry.formats.sentences import finding_message
from registry.models import (
    AuditEntry,
    ChartRevision,
    Contributor,
    Decision,
    Design,
    Dispute,
    FactAnswer,
    JobFact,
    PartNumber,
    Sheet,
    SheetFinding,
    Target,
    User,
)
from registry.permissions import is_party, require
from registry.selectors.facts import FactLine, answers_of, fact_line
from registry.selectors.late_tables import late_tables
from registry.selectors.parties import parties
from registry.selectors.queue import grouped_sheets
from registry.selectors.seen import case_seen
from registry.selectors.sheet_table import BesideTable, beside_pattern
from registry.selectors.standing import newcomers_alike
from registry.services.case_acts import Act, acts_for, waits_for_voice
from registry.services.case_charts import Ahead, chart_ahead, supposed
from registry.services.decision_checks import why_no_second
from registry.services.effects import EFFECTS
from registry.services.newcomers import held_for
from registry.services.snapshots import snapshot_in_force
from registry.translation import gettext as _

Plain = dict[str, Any]
Kind = Decision.Kind


@dataclass
class CasePage:
    """Everything that the screen of one case shows."""

    kind: str
    uuid: UUID
    target_kind: str
    target_uuid: UUID
    design: Design | None = None
    says: str = ""
    sheet: Sheet | None = None
    finding: SheetFinding | None = None
    table: BesideTable | None = None
    revision: ChartRevision | None = None
    decision: Decision | None = None
    dispute: Dispute | None = None
    account: Contributor | None = None
    part: PartNumber | None = None
    fact: FactLine | None = None
    answers: list[FactAnswer] = field(default_factory=list)
    group: list[SheetFinding] = field(default_factory=list)
    ahead: dict[str, Ahead] = field(default_factory=dict)
    acts: list[Act] = field(default_factory=list)
    disputes: list[Dispute] = field(default_factory=list)
    history: list[Decision] = field(default_factory=list)
    log: list[AuditEntry] = field(default_factory=list)
    barred: bool = False
    no_second: str = ""  # why this person's yes would be no second voice
    by_person: bool = False  # it waits for a second voice however long
    seen: str = ""


def case_page(*, by: User, kind: str, uuid: UUID, charts: bool = True) -> CasePage:
    """The case as it is now; RegistryError (code "case_unknown") where there is none.

    charts: compute what the chart would become, too.
    """
    require(by, "moderate")
    snapshot_in_force()
    page = MAKERS[kind](uuid) if kind in MAKERS else None
    if page is None:
        raise RegistryError("case_unknown", _("This case is not here (any more)."), _("Look at the queue."))
    about = {"target_kind": page.target_kind, "target_uuid": page.target_uuid}
    page.disputes = list(
        Dispute.objects.filter(**about)
        .select_related("opened_by__contributor")
        .prefetch_related("messages__written_by__contributor")
        .order_by("pk")
    )
    if page.dispute is None:
        page.dispute = next((d for d in page.disputes if d.state == Dispute.State.OPEN), None)
    people = ("proposer__contributor", "approver__contributor", "undone_by__contributor")
    page.history = list(Decision.objects.filter(**about).select_related(*people).order_by("-pk"))
    page.log = list(AuditEntry.objects.filter(**about).order_by("-pk")[:30])
    case = page.decision or Decision(kind=Kind.KEEP, dispute=page.dispute, payload=_payload(page), **about)
    page.barred = is_party(by, contributors=parties(case)) or (
        page.decision is not None and page.decision.proposer_id == by.pk
    )
    if page.decision is not None and waits_for_voice(page.decision):
        page.no_second = why_no_second(by, page.decision)
        page.by_person = EFFECTS[page.decision.kind].by_person
    if charts:
        _charts_ahead(page)
    page.seen = case_seen(page.target_kind, page.target_uuid)
    page.acts = acts_for(page)
    return page


def _payload(page: CasePage) -> Plain:
    return {"sheets": [str(found.sheet.uuid) for found in page.group]} if page.group else {}


def _sheet_case(uuid: UUID) -> CasePage | None:
    sheet = (
        Sheet.objects.filter(uuid=uuid)
        .select_related("design__connector__common", "contributor__workshop", "contributor__user", "unit")
        .first()
    )
    if sheet is None:
        return None
    page = CasePage("sheet", uuid, Target.SHEET, uuid, sheet.design, sheet=sheet)
    page.finding = SheetFinding.objects.filter(sheet=sheet).select_related("revision__design").first()
    content = _content(page.finding, sheet.design)
    variant = page.finding.variant if page.finding else ""
    if page.finding is not None:
        page.design = page.finding.revision.design  # where it counts, after a move or a merge
        common = None if content is None else content["common"]
        page.says = finding_message(page.finding.body, common)
    elif sheet.withdrawn_at is not None:
        page.says = _("Its contributor withdrew this sheet.")
    else:
        page.says = _("This sheet is in no chart now.")
    if content is not None:
        tables = content["variants"]
        table = next((v for v in tables if v["variant"] == variant), tables[0] if tables else None)
        page.table = beside_pattern(sheet, content["design"], table)
    return page


def _charts_ahead(page: CasePage) -> None:
    finding, sheet = page.finding, page.sheet
    if finding is None or sheet is None or page.design is None or finding.finding == "fits":
        return
    out = supposed(Kind.SET_ASIDE, sheet.uuid, {})
    page.ahead["set_aside"] = chart_ahead(page.design, out, sheet=sheet.uuid)
    correction = suggested_correction(finding.body)
    if correction is not None:
        read = supposed(Kind.CORRECT, sheet.uuid, {"correction": correction})
        page.ahead["correct"] = chart_ahead(page.design, read, sheet=sheet.uuid)


def _content(finding: SheetFinding | None, design: Design) -> Plain | None:
    revision = finding.revision if finding else design.revisions.order_by("-number").first()
    return None if revision is None else json.loads(bytes(revision.content))


def _dispute_case(uuid: UUID) -> CasePage | None:
    dispute = Dispute.objects.filter(uuid=uuid).select_related("opened_by__contributor").first()
    if dispute is None:
        return None
    if dispute.target_kind == Target.SHEET:
        page = _sheet_case(dispute.target_uuid)
        if page is not None:
            page.kind, page.uuid, page.dispute = "dispute", uuid, dispute
        return page
    page = CasePage("dispute", uuid, dispute.target_kind, dispute.target_uuid, dispute=dispute)
    if dispute.target_kind in (Target.CELL, Target.DESIGN):
        page.design = Design.objects.filter(uuid=dispute.target_uuid).first()
    elif dispute.target_kind == Target.REVISION:
        page.revision = ChartRevision.objects.select_related("design").get(uuid=dispute.target_uuid)
        page.design = page.revision.design
    elif dispute.target_kind == Target.ACCOUNT:
        page.account = Contributor.objects.select_related("user").filter(uuid=dispute.target_uuid).first()
    elif dispute.target_kind == Target.PART_NUMBER:
        page.part = PartNumber.objects.filter(uuid=dispute.target_uuid).first()
    elif dispute.target_kind == Target.FACT:
        fact = JobFact.objects.select_related("design").get(uuid=dispute.target_uuid)
        page.design, page.fact, page.answers = fact.design, fact_line(fact), list(answers_of(fact))
    page.says = dispute.reason
    return page


def _design_case(uuid: UUID) -> CasePage | None:
    design = Design.objects.filter(uuid=uuid).select_related("maker", "connector__common").first()
    return None if design is None else CasePage("design", uuid, Target.DESIGN, uuid, design)


def _revision_case(uuid: UUID) -> CasePage | None:
    revision = ChartRevision.objects.filter(uuid=uuid).select_related("design").first()
    if revision is None:
        return None
    page = CasePage("revision", uuid, Target.REVISION, uuid, revision.design, revision=revision)
    if revision.state == ChartRevision.State.HELD:
        page.group = list(
            SheetFinding.objects.filter(
                revision=revision, sheet__uuid__in=held_for(revision), sheet__withdrawn_at=None
            )
            .select_related("sheet__contributor__workshop", "sheet__unit")
            .order_by("pk")
        )
    return page


def _variant_case(uuid: UUID) -> CasePage | None:
    design = Design.objects.filter(uuid=uuid).first()
    if design is None:
        return None
    page = CasePage("variant", uuid, Target.DESIGN, uuid, design)
    page.group = list(
        SheetFinding.objects.filter(revision__design=design, finding="coordinated", sheet__withdrawn_at=None)
        .select_related("sheet__contributor__workshop", "sheet__unit")
        .order_by("pk")
    )
    page.group += [found for found in newcomers_alike() if found.revision.design_id == design.pk]
    known = grouped_sheets()
    if {found.sheet.uuid for found in page.group} <= known:  # nothing, or all decided
        tables = (table for table in late_tables() if table[0].revision.design_id == design.pk)
        page.group = next((one for one in tables if not known & {f.sheet.uuid for f in one}), page.group)
    return page


def _decision_case(uuid: UUID) -> CasePage | None:
    decision = Decision.objects.filter(uuid=uuid).select_related("proposer", "dispute").first()
    if decision is None:
        return None
    inner = {
        Target.SHEET: _sheet_case,
        Target.DESIGN: _design_case,
        Target.REVISION: _revision_case,
    }.get(Target(decision.target_kind))
    page = inner(decision.target_uuid) if inner else None
    page = page or CasePage("decision", uuid, decision.target_kind, decision.target_uuid)
    if decision.target_kind == Target.ACCOUNT:
        page.account = Contributor.objects.select_related("user").filter(uuid=decision.target_uuid).first()
    page.kind, page.uuid, page.decision = "decision", uuid, decision
    return page


MAKERS = {
    "sheet": _sheet_case,
    "dispute": _dispute_case,
    "design": _design_case,
    "revision": _revision_case,
    "variant": _variant_case,
    "decision": _decision_case,
}


def days_left(decision: Decision) -> int | None:
    """Whole days until a waiting decision takes effect; None where it waits for a person."""
    if decision.effective_at is None:
        return None
    return max(0, (decision.effective_at - timezone.now()).days)
