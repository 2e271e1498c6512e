"""Decisions about sheets and variants: laid over the readings, which stay as they were typed."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from registry.bridge.corrections import is_possible
from registry.models import ChartRevision, Decision, Design, Pin, Place, Sheet, Target, Variant
from registry.selectors.design_shapes import design_shape
from registry.selectors.evidence import Overlays, decisions_in_force
from registry.services.effects import facts
from registry.services.effects.base import (
    DESIGN,
    FACT,
    REVISION,
    SHEET,
    Effect,
    counted_in,
    refuse,
    routing,
    target_row,
)
from registry.services.notices import notify
from registry.services.rereads import reread_tell
from registry.translation import gettext as _


def sheet_designs(decision: Decision) -> set[int]:
    sheet = Sheet.objects.select_related("design").get(uuid=decision.target_uuid)
    overlays = routing()
    found = counted_in(sheet.uuid, sheet.design.uuid, overlays)
    if decision.kind == Decision.Kind.MOVE:
        found |= counted_in(None, UUID(decision.payload["design"]), overlays)
    return found


def check_aside(decision: Decision) -> None:
    """A sheet, one answer to a fact about the job, or a group of sheets of a design in one act."""
    if decision.target_kind == Target.FACT:
        facts.check_answer(decision)
    elif decision.target_kind == Target.SHEET:
        decision.payload.pop("sheets", None)
        target_row(Sheet, decision)
    else:
        target_row(Design if decision.target_kind == Target.DESIGN else ChartRevision, decision)
        wanted = decision.payload.get("sheets")
        if not wanted or len(_group(decision)) != len(set(map(str, wanted))):
            refuse("/payload/sheets", "sheets_unknown", _("Name the sheets that are set aside."))


def aside_designs(decision: Decision) -> set[int]:
    if decision.target_kind == Target.FACT:
        return set()
    if decision.target_kind == Target.SHEET:
        return sheet_designs(decision)
    overlays = routing()
    return {pk for one in _group(decision) for pk in counted_in(one.uuid, one.design.uuid, overlays)}


def aside_tell(decision: Decision) -> None:
    """Of a group: whoever sent one of its sheets is told.  Of one sheet, they were asked first."""
    if decision.target_kind not in (Target.DESIGN, Target.REVISION):
        return
    told: set[int] = set()
    for sheet in _group(decision):
        if sheet.contributor_id not in told:
            told.add(sheet.contributor_id)
            notify(sheet.contributor.user, "decision_in_force", decision=str(decision.uuid),
                   kind=decision.kind, sheet=str(sheet.uuid), reason=decision.reason)  # fmt: skip


def _group(decision: Decision) -> list[Sheet]:
    """The sheets that it names, as far as they are of the design that it is about."""
    try:
        named = [UUID(str(sheet)) for sheet in decision.payload.get("sheets", [])]
    except ValueError:
        return []
    overlays, target = routing(), decision.target_uuid
    if decision.target_kind == Target.REVISION:
        target = ChartRevision.objects.values_list("design__uuid", flat=True).get(uuid=target)
    sheets = Sheet.objects.filter(uuid__in=named).select_related("design", "contributor__user")
    return [one for one in sheets.order_by("pk") if overlays.design_of(one.uuid, one.design.uuid) == target]


def check_keep(decision: Decision) -> None:
    """Of a design: a group of its sheets that may stay as it is."""
    if decision.target_kind == Target.SHEET:
        target_row(Sheet, decision)
    else:
        target_row(Design, decision)


def check_correction(decision: Decision) -> None:
    sheet = target_row(Sheet, decision)
    there = routing().design_of(sheet.uuid, sheet.design.uuid)
    shape = design_shape(Design.objects.get(uuid=there))
    if not is_possible(shape, decision.payload.get("correction")):
        refuse(
            "/payload/correction",
            "correction_impossible",
            _("This design has no such pins or positions to read the sheet by."),
            _("Choose one of the corrections that the page offers."),
        )


def check_move(decision: Decision) -> None:
    sheet = target_row(Sheet, decision)
    there = _design(decision.payload.get("design"))
    here = routing().design_of(sheet.uuid, sheet.design.uuid)
    if there.uuid == here:
        refuse("/payload/design", "design_same", _("The sheet counts for this design already."))
    if there.merged_into_id is not None:
        refuse(
            "/payload/design",
            "design_merged",
            _("“{name}” was merged into another design.").format(name=there.name),
            _("Move the sheet there."),
        )
    check_labels(sheet.design, there, decision.payload, Place.objects.filter(readings__version__sheet=sheet))


def check_labels(source: Design, there: Design, payload: dict[str, Any], places: Any) -> None:
    """Every position and pin that was read must have a name in the other design; aliases are looked up."""
    given = payload.get("labels") or {}
    positions, pins = dict(given.get("positions", {})), dict(given.get("pins", {}))
    aliases = {
        alias: position.label
        for position in there.positions.prefetch_related("aliases")
        for alias in [position.label, *(a.label for a in position.aliases.all())]
    }
    known = set(Pin.objects.filter(connector__design=there, empty=False).values_list("label", flat=True))
    read = places.values_list("position__label", "pin_a__label", "pin_b__label").distinct()
    missing = []
    for position in sorted({row[0] for row in read}):
        named = aliases.get(positions.get(position, position))
        if named is None:
            missing.append(position)
        elif named != position:
            positions[position] = named
    missing += sorted({pin for row in read for pin in row[1:] if pins.get(pin, pin) not in known})
    if missing:
        refuse(
            "/payload/labels",
            "labels_missing",
            _("“{name}” has no {labels}.").format(name=there.name, labels=", ".join(missing)),
            _("Add them there as aliases or pins first, so that no reading is left out."),
        )
    if positions or pins:
        payload["labels"] = {"positions": positions, "pins": pins}


def check_reread(decision: Decision) -> None:
    target_row(Sheet, decision)
    try:
        date.fromisoformat(str(decision.payload.get("deadline")))
    except ValueError:
        refuse("/payload/deadline", "not_a_day", _("This is not a date."), _("Write it as 2026-11-25."))


def ask_reread(decision: Decision) -> None:
    reread_tell(decision, "reread_asked", reason=decision.reason)


def check_variant(decision: Decision) -> None:
    design = target_row(Design, decision)
    wanted = [str(uuid) for uuid in decision.payload.get("sheets", [])]
    counting = {str(uuid) for uuid in design.sheets.values_list("uuid", flat=True)}
    overlays = Overlays(decisions_in_force())
    counting |= {
        str(sheet) for sheet in overlays.moved if overlays.design_of(sheet, design.uuid) == design.uuid
    }
    if not wanted or not set(wanted) <= counting:
        refuse(
            "/payload/sheets",
            "sheets_unknown",
            _("Name the sheets of this design that the variant is made of."),
        )
    key = str(decision.payload.get("variant", ""))
    if decision.kind == Decision.Kind.MERGE_VARIANTS and not design.variants.filter(key=key).exists():
        refuse("/payload/variant", "variant_unknown", _("There is no variant “{key}”.").format(key=key))
    if not key or len(key) > 20:
        refuse("/payload/variant", "value_missing", _("Name the variant."), _("A letter that is free."))


def split_variant(decision: Decision) -> None:
    design = Design.objects.get(uuid=decision.target_uuid)
    _row, made = Variant.objects.get_or_create(design=design, key=decision.payload["variant"])
    decision.before["made"] = made


def unsplit_variant(decision: Decision) -> None:
    """The key goes only if no chart ever used it."""
    if decision.before.get("made"):
        Variant.objects.filter(
            design__uuid=decision.target_uuid, key=decision.payload["variant"], table={}
        ).delete()


def variant_designs(decision: Decision) -> set[int]:
    return counted_in(None, decision.target_uuid, routing())


def _design(text: Any) -> Design:
    try:
        return Design.objects.get(uuid=UUID(str(text)))
    except (ValueError, Design.DoesNotExist):
        refuse("/payload/design", "design_unknown", _("There is no such design."), _("Search for it."))


EFFECTS: dict[str, Effect] = {
    Decision.Kind.KEEP: Effect(SHEET + DESIGN, check=check_keep),
    Decision.Kind.SET_ASIDE: Effect(
        SHEET + FACT + DESIGN + REVISION,
        check=check_aside,
        apply=aside_tell,
        designs=aside_designs,
        previewed=True,
    ),
    Decision.Kind.CORRECT: Effect(SHEET, check=check_correction, designs=sheet_designs, previewed=True),
    Decision.Kind.MOVE: Effect(SHEET, check=check_move, designs=sheet_designs, previewed=True),
    Decision.Kind.ASK_REREAD: Effect(SHEET, check=check_reread, apply=ask_reread),
    Decision.Kind.SPLIT_VARIANT: Effect(
        DESIGN,
        check=check_variant,
        apply=split_variant,
        reverse=unsplit_variant,
        designs=variant_designs,
        previewed=True,
    ),
    Decision.Kind.MERGE_VARIANTS: Effect(
        DESIGN, check=check_variant, designs=variant_designs, previewed=True
    ),
}
