"""A tidy file becomes sheets: first a plan that says what would happen, then all of it or nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db import IntegrityError, transaction

from registry.errors import RegistryError, RegistryErrors
from registry.formats.tidy_table import TidyTable
from registry.models import Contributor, Sheet, User
from registry.permissions import require
from registry.selectors.evidence import evidence_kept
from registry.selectors.mirrors import mirror_asked_once
from registry.services.accounts import contributor_held, contributor_of
from registry.services.allowance import allowance_require
from registry.services.audit import record
from registry.services.changes import numbered_at_the_end
from registry.services.imports.compared import stored_rows, table_rows
from registry.services.imports.designs import DesignPlan, carry_out, plan_designs
from registry.services.imports.rows import write_sheets
from registry.services.mirrors.guard import refuse_on_mirror
from registry.services.refreshes import mark_stale, owed, queue_refreshes, refresh_run
from registry.services.snapshots import snapshot_learn
from registry.translation import gettext as _

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class ImportPlan:
    """What an import would do; errors: why it can't."""

    designs_new: list[str]
    designs_extended: list[str]
    sheets_new: list[int]  # indices into the table's sheets
    sheets_known: int
    readings_new: int
    contributors_new: list[str]
    warnings: list[str] = field(default_factory=list)
    errors: list[RegistryError] = field(default_factory=list)
    designs: dict[str, DesignPlan] = field(default_factory=dict, repr=False)

    def as_dict(self) -> dict[str, Any]:
        return {
            "designs_new": self.designs_new,
            "designs_extended": self.designs_extended,
            "sheets_new": len(self.sheets_new),
            "sheets_known": self.sheets_known,
            "readings_new": self.readings_new,
            "contributors_new": len(self.contributors_new),
            "warnings": self.warnings,
            "errors": [error.as_dict() for error in self.errors],
        }


def import_plan(table: TidyTable, *, by: User | None = None) -> ImportPlan:
    """A dry run.  by: the person signed in, who is then the one contributor; None: the command's own."""
    if by is not None:
        require(by, "submit")
    designs = plan_designs(table, by)
    errors = [error for plan in designs.values() for error in plan.errors]
    new, known = [], 0
    stored = stored_rows(_known_sheets(table, by), one_owner=by is not None)
    rows = table_rows(table, only=stored) if stored else {}
    for n, sheet in enumerate(table.sheets):
        key = (_owner_name(by, sheet.contributor), sheet.name)
        if key not in stored:
            new.append(n)
        elif rows[key] in stored[key]:
            known += 1
        else:
            errors.append(_other_readings(sheet.name, sheet.first_line))
    return ImportPlan(
        designs_new=[name for name, plan in designs.items() if plan.design is None],
        designs_extended=[name for name, plan in designs.items() if plan.extends],
        sheets_new=new,
        sheets_known=known,
        readings_new=_readings_of(table, new),
        contributors_new=_new_contributors(table, by),
        warnings=list(table.warnings),
        errors=errors,
        designs=designs,
    )


def import_apply(table: TidyTable, *, by: User | None = None, progress: Progress | None = None) -> ImportPlan:
    """Do what the plan says, in one transaction; then, for the command, learn a snapshot and make the charts.

    A person's own file has its charts queued, as a sheet does.  Raises RegistryErrors, and stores nothing,
    where the plan has errors.
    """
    tell = progress or (lambda what, done, of: None)
    refuse_on_mirror()
    try:
        plan = _carried_out(table, by, tell)
    except IntegrityError:  # somebody else stored some of it meanwhile: now the plan knows it
        plan = _carried_out(table, by, tell)
    if by is None:
        refresh_owed(tell)  # what a killed import left behind too
    return plan


@transaction.atomic
def _carried_out(table: TidyTable, by: User | None, tell: Progress) -> ImportPlan:
    contributor = None if by is None else contributor_held(by)
    plan = import_plan(table, by=by)
    if plan.errors:
        raise RegistryErrors(plan.errors)
    if contributor is not None and plan.sheets_new:
        allowance_require(contributor, sheets=len(plan.sheets_new))
    if plan.sheets_new:
        _store(table, plan, by, tell)
    return plan


def _store(table: TidyTable, plan: ImportPlan, by: User | None, tell: Progress) -> None:
    designs = plan.designs
    carry_out(designs.values(), by)
    write_sheets(table, plan.sheets_new, designs, _contributors(table, plan, by), made_by=by, tell=tell)
    touched = [designs[name].made.pk for name in _touched(table, plan)]
    if by is None:
        mark_stale(touched)
    else:
        queue_refreshes(touched)
    record(
        by=by,
        action="import",
        target_kind="registry",
        target_uuid=None,
        sheets=len(plan.sheets_new),
        readings=plan.readings_new,
    )


def refresh_owed(tell: Progress) -> None:
    """One snapshot for all that came in, then each design with changed evidence once."""
    left = list(owed().order_by("pk").values_list("pk", flat=True))
    with evidence_kept(), mirror_asked_once(), numbered_at_the_end():
        if left:
            snapshot_learn()
        for n, design_id in enumerate(left, start=1):
            refresh_run(design_id=design_id)
            tell(_("charts"), n, len(left))


def _owner_name(by: User | None, contributor: str) -> str:
    return "" if by is not None else contributor


def _known_sheets(table: TidyTable, by: User | None) -> list[Sheet]:
    sheets = Sheet.objects.select_related("contributor", "design")
    if by is not None:
        sheets = sheets.filter(contributor=contributor_of(by))
    else:
        names = {sheet.contributor for sheet in table.sheets}
        owners = {
            pk
            for pk, name in Contributor.objects.filter(import_name__isnull=False).values_list(
                "pk", "import_name"
            )
            if name in names
        }
        sheets = sheets.filter(contributor__in=owners)
    wanted = {sheet.name for sheet in table.sheets}
    return [sheet for sheet in sheets if sheet.name in wanted]


def _other_readings(name: str, line: int) -> RegistryError:
    return RegistryError(
        "submission_differs",
        _("Submission “{name}” is in the registry already, with other readings.").format(name=name),
        _("Give this one another name, or amend the sheet that is there."),
        line=line or None,
        column="submission",
    )


def _readings_of(table: TidyTable, sheets: list[int]) -> int:
    wanted = set(sheets)
    counts: dict[int, int] = defaultdict(int)
    for sheet in table.sheet.tolist():
        counts[sheet] += 1
    return sum(n for sheet, n in counts.items() if sheet in wanted)


def _new_contributors(table: TidyTable, by: User | None) -> list[str]:
    if by is not None:
        return []
    known = set(Contributor.objects.exclude(import_name=None).values_list("import_name", flat=True))
    return sorted({sheet.contributor for sheet in table.sheets} - known)


def _contributors(table: TidyTable, plan: ImportPlan, by: User | None) -> dict[str, Contributor]:
    names = {sheet.contributor for sheet in table.sheets}
    if by is not None:
        return dict.fromkeys(names, contributor_of(by))
    Contributor.objects.bulk_create(Contributor(import_name=name) for name in plan.contributors_new)
    rows = Contributor.objects.exclude(import_name=None)
    return {row.import_name: row for row in rows if row.import_name in names}


def _touched(table: TidyTable, plan: ImportPlan) -> list[str]:
    return sorted({table.designs[table.sheets[n].design] for n in plan.sheets_new})
