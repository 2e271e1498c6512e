"""The evidence of a design: which sheet versions, by whom, under which decisions.

These are the frozen inputs of a chart.

`design_inputs` names them (JSON-ready; its digest names the chart), `inputs_readings` fetches what they name.
A chart computed from the same inputs has the same bytes, whatever has happened since.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any
from uuid import UUID

from django.db.models import Q

from registry.formats.canonical import canonical, digest_of
from registry.models import (
    Decision,
    Design,
    Dispute,
    Pin,
    Position,
    Reading,
    Sheet,
    SheetVersion,
    Target,
    Unit,
    UnitMatch,
)
from registry.selectors.overlays import Overlays, decisions_in_force

__all__ = [
    "Inputs",
    "Overlays",
    "approved_by_decision",
    "canonical",
    "decisions_in_force",
    "design_inputs",
    "digest_of",
    "inputs_readings",
]

Inputs = dict[str, Any]
CHUNK = 500  # ids a query: SQLite's limit on variables


def approved_by_decision(design: Design, evidence: str) -> bool:
    """Whether a decision, or its undoing, was made by as many as it needs in sight of this very chart."""
    states = Decision.State
    return Decision.objects.filter(
        Q(state=states.IN_FORCE, **{f"before__approves__{design.uuid}": evidence})
        | Q(state=states.UNDONE, **{f"before__undo_approves__{design.uuid}": evidence})
    ).exists()


def design_inputs(design: Design, overlays: Overlays | None = None) -> Inputs:
    """What the chart of a design is computed from now: shape, sheet versions, disputes, decisions."""
    overlays = overlays or Overlays(decisions_in_force())
    used: set[str] = set()
    sheets = []
    versions = list(_versions(design, overlays))
    groups = unit_groups({version.sheet.unit_id for version in versions})
    for version in versions:
        sheet = version.sheet
        ids = (sheet.uuid, sheet.contributor.uuid)
        aside = overlays.is_aside(*ids)
        for decision in (
            overlays.set_aside.get(ids[0]),
            overlays.accounts_aside.get(ids[1]),
            overlays.corrected.get(ids[0]),
            overlays.bound.get(ids[0]),
            *overlays.steps(ids[0], sheet.design.uuid),
        ):
            if decision is not None:
                used.add(str(decision.uuid))
        if aside:
            continue
        workshop = sheet.contributor.workshop
        bound, corrected = overlays.bound.get(ids[0]), overlays.corrected.get(ids[0])
        sheets.append(
            {
                "sheet": str(sheet.uuid),
                "version": version.number,
                "digest": version.digest,
                "unit": groups.get(sheet.unit_id, str(sheet.unit.uuid)),
                "contributor": sheet.contributor.pseudonym,
                "workshop": None if workshop is None else str(workshop.uuid),
                "class": version.source_class,
                "held_good": version.held_good,
                "read_at": version.read_at,
                "units_claimed": version.units_claimed,
                "variant": None if bound is None else bound.payload["variant"],
                "correction": None if corrected is None else corrected.payload["correction"],
                "labels": overlays.labels(ids[0], sheet.design.uuid),
            }
        )
    sheets.sort(key=lambda entry: str(entry["sheet"]))
    return {
        "design": design_shape(design),
        "sheets": sheets,
        "disputed": disputed_cells(design, overlays),
        "decisions": sorted(used),
    }


def _versions(design: Design, overlays: Overlays) -> Iterator[SheetVersion]:
    """Current versions of every sheet that counts for the design or was set aside from it."""
    versions = SheetVersion.objects.filter(is_current=True, sheet__withdrawn_at__isnull=True).select_related(
        "sheet__contributor__workshop", "sheet__unit", "sheet__design"
    )
    designs = counted_designs(design, overlays)
    own = versions.filter(sheet__design__uuid__in=designs)
    moved = versions.filter(sheet__uuid__in=list(overlays.moved)) if overlays.moved else versions.none()
    seen: set[int] = set()
    for version in [*own, *moved]:
        here = overlays.design_of(version.sheet.uuid, version.sheet.design.uuid) == design.uuid
        if here and version.pk not in seen:
            seen.add(version.pk)
            yield version


def counted_designs(design: Design, overlays: Overlays) -> set[UUID]:
    """The design, and those that were merged into it."""
    merged = {source for source in overlays.merged if overlays.design_of(None, source) == design.uuid}
    return {design.uuid} | merged


def designs_fed_by(design_ids: Iterable[int]) -> set[int]:
    """Ids of the designs, of those that they were merged into, and of those that sheets of theirs went to."""
    ids = set(design_ids)
    overlays = Overlays(decisions_in_force((Decision.Kind.MOVE, Decision.Kind.MERGE_DESIGNS)))
    if not overlays.moved and not overlays.merged:
        return ids
    own = Sheet.objects.filter(design__in=ids, uuid__in=list(overlays.moved))
    pairs: list[tuple[UUID | None, UUID]] = [*own.values_list("uuid", "design__uuid")]
    pairs += [(None, uuid) for uuid in Design.objects.filter(pk__in=ids).values_list("uuid", flat=True)]
    ends = {overlays.design_of(sheet, design) for sheet, design in pairs}
    return ids | set(Design.objects.filter(uuid__in=ends).values_list("pk", flat=True))


def design_shape(design: Design) -> dict[str, Any]:
    """Positions in detent order, pins in connector order, the common, the start positions."""
    positions = list(Position.objects.filter(design=design).order_by("step"))
    pins = [pin.label for pin in Pin.objects.filter(connector__design=design, empty=False).order_by("order")]
    connector = getattr(design, "connector", None)
    common = connector.common.label if connector is not None and connector.common is not None else None
    starts = [p.label for p in positions if p.releases_starter] if design.start_known else None
    return {
        "uuid": str(design.uuid),
        "name": design.name,
        "positions": [position.label for position in positions],
        "pins": pins,
        "common": common,
        "start_positions": starts,
    }


def disputed_cells(design: Design, overlays: Overlays) -> list[dict[str, Any]]:
    """Places of the design, and of those merged into it, that somebody disputes now, by label."""
    disputes = Dispute.objects.filter(
        target_kind=Target.CELL,
        target_uuid__in=counted_designs(design, overlays),
        state=Dispute.State.OPEN,
    )
    cells = set()
    for source, place in disputes.values_list("target_uuid", "target_cell"):
        cell: dict[str, Any] = place or {}
        labels = overlays.labels(None, source) or {"positions": {}, "pins": {}}
        renamed = {
            "position": labels["positions"].get(cell["position"], cell["position"]),
            "between": bool(cell.get("between", False)),
            "pin": labels["pins"].get(cell["pin"], cell["pin"]),
            "against": labels["pins"].get(cell["against"], cell["against"]),
        }
        cells.add(json.dumps(renamed, sort_keys=True))
    return [json.loads(cell) for cell in sorted(cells)]


def unit_groups(units: Iterable[int]) -> dict[int, str]:
    """unit id → name of the physical switch, for units that two people say are the same."""
    asked = sorted(set(units))
    known = set(asked)
    words = {
        word
        for start in range(0, len(asked), CHUNK)
        for word in UnitMatch.objects.filter(unit__in=asked[start : start + CHUNK]).values_list(
            "unit_id", "same_as_id", "said_by_id"
        )
        if word[1] in known
    }
    if not words:
        return {}
    named = list(Unit.objects.filter(pk__in={pk for word in words for pk in word[:2]}))
    owners = {unit.pk: unit.contributor_id for unit in named}
    names = {unit.pk: str(unit.uuid) for unit in named}
    parent = {pk: pk for pk in owners}

    def root(unit: int) -> int:
        while parent[unit] != unit:
            unit = parent[unit]
        return unit

    for a, b, _said_by in sorted(words):
        both = (a, b, owners[a]) in words or (b, a, owners[a]) in words
        both = both and ((a, b, owners[b]) in words or (b, a, owners[b]) in words)
        if both:
            first, second = sorted((root(a), root(b)))
            parent[second] = first
    return {pk: names[root(pk)] for pk in owners}


READING_FIELDS = (
    "version__sheet__uuid",
    "place__position__label",
    "place__between",
    "place__pin_a__label",
    "place__pin_b__label",
    "turned",
    "sweep",
    "kind",
    "low_ohm",
    "high_ohm",
    "limit_ohm",
    "lead_ohm",
)


def inputs_readings(inputs: Inputs) -> list[tuple[Any, ...]]:
    """Readings that the inputs name, in the order of their sheets and then of READING_FIELDS.

    Not taken ones and those changed after the pattern was seen are no evidence.
    """
    order = {entry["sheet"]: n for n, entry in enumerate(inputs["sheets"])}
    by_number: dict[int, list[str]] = defaultdict(list)
    for entry in inputs["sheets"]:
        by_number[entry["version"]].append(entry["sheet"])
    rows: list[tuple[Any, ...]] = []
    for number, sheets in sorted(by_number.items()):
        for start in range(0, len(sheets), CHUNK):
            rows += (
                Reading.objects.filter(
                    version__number=number,
                    version__sheet__uuid__in=sheets[start : start + CHUNK],
                    first_pass=True,
                )
                .exclude(kind=Reading.Kind.NOT_TAKEN)
                .values_list(*READING_FIELDS)
            )
    rows = [(str(row[0]), *row[1:]) for row in rows]
    rows.sort(key=lambda row: (order[row[0]], *row[1:7]))
    return rows
