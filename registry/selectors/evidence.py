"""The evidence of a design: which sheet versions, by whom, under which decisions.

These are the frozen inputs of a chart.

`design_inputs` names them (JSON-ready; its digest names the chart), `evidence_named` fetches what they name.
A chart computed from the same inputs has the same bytes, whatever has happened since.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Q

from registry.bridge.charts import Evidence
from registry.formats.canonical import canonical, digest_of
from registry.models import Contributor, Decision, Design, Dispute, Sheet, SheetVersion, Target
from registry.selectors.design_shapes import design_shapes
from registry.selectors.evidence_rows import Inputs, inputs_evidence
from registry.selectors.overlays import Overlays, decisions_in_force
from registry.selectors.unit_groups import Word, groups_of, unit_words

__all__ = [
    "Inputs",
    "Overlays",
    "approved_by_decision",
    "canonical",
    "decisions_in_force",
    "design_inputs",
    "digest_of",
    "evidence_named",
]


def approved_by_decision(design: Design, evidence: str) -> str:
    """Whether a decision ("decided"), or its undoing ("undone"), was made in sight of this very chart by as
    many as it needs; "" otherwise."""
    states = Decision.State
    approving = Decision.objects.filter(
        Q(state=states.IN_FORCE, **{f"before__approves__{design.uuid}": evidence})
        | Q(state=states.UNDONE, **{f"before__undo_approves__{design.uuid}": evidence})
    )
    found = set(approving.values_list("state", flat=True))
    return "decided" if states.IN_FORCE in found else "undone" if found else ""


def design_inputs(design: Design, overlays: Overlays | None = None) -> Inputs:
    """What the chart of a design is computed from now: shape, sheet versions, disputes, decisions."""
    kept = (_KEPT.get() or {}).get(str(design.uuid))
    if overlays is None and kept is not None and kept[0] == design.changes:
        return kept[1]
    return designs_inputs([design], overlays or Overlays(decisions_in_force()))[design.pk]


def designs_inputs(designs: Sequence[Design], overlays: Overlays) -> dict[int, Inputs]:
    """The same of several designs at once, by their ids."""
    shapes = design_shapes(designs)
    counted = {design.uuid: counted_designs(design, overlays) for design in designs}
    versions = _versions(counted, overlays)
    words: dict[int, list[Word]] = defaultdict(list)
    for word in unit_words(version.unit for rows in versions.values() for version in rows):
        words[word[0]].append(word)
    disputed = _disputed_cells(counted, overlays)
    found = {}
    for design in designs:
        used: set[str] = set()
        sheets = _sheet_entries(versions[design.uuid], words, overlays, used)
        found[design.pk] = {
            "design": shapes[design.pk],
            "sheets": sheets,
            "disputed": disputed[design.uuid],
            "decisions": sorted(used),
        }
    return found


def _sheet_entries(
    versions: list[VersionRow], words: dict[int, list[Word]], overlays: Overlays, used: set[str]
) -> list[dict[str, Any]]:
    """Sheets that count; the decisions that lie over any of them, counting or not, go into `used`."""
    owners = {version.unit: version.unit_owner for version in versions}
    names = {version.unit: str(version.unit_uuid) for version in versions}
    said = [word for unit in owners for word in words.get(unit, ()) if word[1] in owners]
    groups = groups_of(said, owners, names) if said else {}
    sheets = []
    for version in versions:
        bound, corrected = overlays.bound.get(version.sheet), overlays.corrected.get(version.sheet)
        for decision in (
            overlays.set_aside.get(version.sheet),
            overlays.accounts_aside.get(version.contributor),
            corrected,
            bound,
            *overlays.steps(version.sheet, version.design),
        ):
            if decision is not None:
                used.add(str(decision.uuid))
        if overlays.is_aside(version.sheet, version.contributor):
            continue
        sheets.append(
            {
                "sheet": str(version.sheet),
                "version": version.number,
                "digest": version.digest,
                "unit": groups.get(version.unit, names[version.unit]),
                "contributor": version.pseudonym,
                "workshop": None if version.workshop is None else str(version.workshop),
                "class": version.source_class,
                "held_good": version.held_good,
                "read_at": version.read_at,
                "units_claimed": version.units_claimed,
                "variant": None if bound is None else bound.payload["variant"],
                "correction": None if corrected is None else corrected.payload["correction"],
                "labels": overlays.labels(version.sheet, version.design),
            }
        )
    sheets.sort(key=lambda entry: str(entry["sheet"]))
    return sheets


class VersionRow(NamedTuple):
    """A current version with what `designs_inputs` looks at around it, in the order of VERSION_FIELDS."""

    pk: int
    number: int
    digest: str
    source_class: str
    held_good: str
    read_at: str
    units_claimed: int
    sheet: UUID
    design: UUID
    unit: int
    unit_uuid: UUID
    unit_owner: int
    contributor: UUID
    pseudonym: str
    workshop: UUID | None


VERSION_FIELDS = (
    "pk",
    "number",
    "digest",
    "source_class",
    "held_good",
    "read_at",
    "units_claimed",
    "sheet__uuid",
    "sheet__design__uuid",
    "sheet__unit_id",
    "sheet__unit__uuid",
    "sheet__unit__contributor_id",
    "sheet__contributor__uuid",
    "sheet__contributor__pseudonym",
    "sheet__contributor__workshop__uuid",
)


def _versions(counted: dict[UUID, set[UUID]], overlays: Overlays) -> dict[UUID, list[VersionRow]]:
    """design → current versions of every sheet that counts for it or was set aside from it."""
    current = SheetVersion.objects.filter(is_current=True, sheet__withdrawn_at__isnull=True)
    rows = current.values_list(*VERSION_FIELDS)
    found = list(rows.filter(sheet__design__uuid__in=set().union(*counted.values())))
    if overlays.moved:
        found += rows.filter(sheet__uuid__in=list(overlays.moved))
    by_design: dict[UUID, list[VersionRow]] = {design: [] for design in counted}
    for version in map(VersionRow._make, dict.fromkeys(found)):
        there = overlays.design_of(version.sheet, version.design)
        if there in by_design:
            by_design[there].append(version)
    return by_design


def counted_designs(design: Design, overlays: Overlays) -> set[UUID]:
    """The design, and those that were merged into it."""
    merged = {source for source in overlays.merged if overlays.design_of(None, source) == design.uuid}
    return {design.uuid} | merged


def designs_fed_by(design_ids: Iterable[int]) -> set[int]:
    """Ids of the designs, of those that they were merged into, and of those that sheets of theirs went to."""
    ids = set(design_ids)
    leading_away = (Decision.Kind.MOVE, Decision.Kind.MERGE_DESIGNS)
    if not Decision.objects.filter(state=Decision.State.IN_FORCE, kind__in=leading_away).exists():
        return ids  # as nearly always, and every sheet asks
    overlays = Overlays(decisions_in_force(leading_away))
    own = Sheet.objects.filter(design__in=ids, uuid__in=list(overlays.moved))
    pairs: list[tuple[UUID | None, UUID]] = [*own.values_list("uuid", "design__uuid")]
    pairs += [(None, uuid) for uuid in Design.objects.filter(pk__in=ids).values_list("uuid", flat=True)]
    ends = {overlays.design_of(sheet, design) for sheet, design in pairs}
    return ids | set(Design.objects.filter(uuid__in=ends).values_list("pk", flat=True))


def _disputed_cells(counted: dict[UUID, set[UUID]], overlays: Overlays) -> dict[UUID, list[dict[str, Any]]]:
    """Places of each design, and of those merged into it, that somebody disputes now, by label.

    Who was set aside with all their sheets is no doubt either: one act ends a campaign of disputes too.
    """
    disputes = Dispute.objects.filter(
        target_kind=Target.CELL,
        target_uuid__in=set().union(*counted.values()),
        state=Dispute.State.OPEN,
    )
    if overlays.accounts_aside:
        aside = Contributor.objects.filter(uuid__in=list(overlays.accounts_aside), user__isnull=False)
        disputes = disputes.exclude(opened_by__in=list(aside.values_list("user", flat=True)))
    cells: dict[UUID, set[str]] = {design: set() for design in counted}
    for source, place in disputes.values_list("target_uuid", "target_cell"):
        cell: dict[str, Any] = place or {}
        labels = overlays.labels(None, source) or {"positions": {}, "pins": {}}
        renamed = {
            "position": labels["positions"].get(cell["position"], cell["position"]),
            "between": bool(cell.get("between", False)),
            "pin": labels["pins"].get(cell["pin"], cell["pin"]),
            "against": labels["pins"].get(cell["against"], cell["against"]),
        }
        for design, sources in counted.items():
            if source in sources:
                cells[design].add(json.dumps(renamed, sort_keys=True))
    return {design: [json.loads(cell) for cell in sorted(found)] for design, found in cells.items()}


Kept = tuple[int, Inputs, Evidence]  # the design's count of changes before the rest was read
_KEPT: ContextVar[dict[str, Kept] | None] = ContextVar("evidence_kept", default=None)


@contextmanager
def evidence_kept() -> Iterator[None]:
    """What `evidence_of` fetches in here serves the charts too, while nothing new comes to a design."""
    token = _KEPT.set({})
    try:
        yield
    finally:
        _KEPT.reset(token)


def evidence_of(designs: Sequence[Design], overlays: Overlays) -> list[Evidence]:
    """Of each design on which any sheet counts, with a few queries for all of them."""
    found = designs_inputs(designs, overlays)
    counting = [design for design in designs if found[design.pk]["sheets"]]
    evidence = inputs_evidence([found[design.pk] for design in counting])
    kept = _KEPT.get()
    if kept is not None:
        for design, one in zip(counting, evidence, strict=True):
            kept[str(design.uuid)] = (design.changes, found[design.pk], one)
    return evidence


def evidence_named(inputs: Inputs) -> Evidence:
    """The readings that the inputs name, as the engine takes them."""
    kept = (_KEPT.get() or {}).get(inputs["design"]["uuid"])
    if kept is not None and kept[1]["sheets"] is inputs["sheets"]:
        return kept[2]
    return inputs_evidence([inputs])[0]
