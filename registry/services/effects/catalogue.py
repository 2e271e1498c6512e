"""Care of the catalogue: confirm, edit, merge designs and part numbers, say what took whose place."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from registry.errors import refuse
from registry.models import CurrentChart, Decision, Design, PartNumber, Place, Supersession
from registry.models.catalogue import DesignState, SamePattern
from registry.services.design_fields import change_field, field_value, read_changes
from registry.services.effects.base import DESIGN, PART, Effect, counted_in, routing, target_row
from registry.services.effects.sheets import check_labels
from registry.services.holding import starts_settled
from registry.translation import gettext as _


def own_design(decision: Decision) -> set[int]:
    return counted_in(None, decision.target_uuid, routing())


def check_confirm(decision: Decision) -> None:
    if target_row(Design, decision).state != DesignState.PROPOSED:
        refuse("/target", "design_confirmed", _("This design is confirmed already."))


def confirm(decision: Decision) -> None:
    Design.objects.filter(uuid=decision.target_uuid).update(state=DesignState.CONFIRMED)


def unconfirm(decision: Decision) -> None:
    Design.objects.filter(uuid=decision.target_uuid).update(state=DesignState.PROPOSED)


def check_edit(decision: Decision) -> None:
    design = target_row(Design, decision)
    if decision.payload.get("on_edit") != design.edit_number:
        refuse(
            "/payload/on_edit",
            "edit_stale",
            _("This design was edited in the meantime; nothing was overwritten."),
            _("Look at it again and make your change on what is there now."),
        )
    read_changes(design, decision.payload)


def edit(decision: Decision) -> None:
    design = target_row(Design, decision)
    decision.before["was"] = [field_value(design, path) for path, _value in decision.payload["set"]]
    for path, value in decision.payload["set"]:
        change_field(design, path, value)
    _edited(design)


def unedit(decision: Decision) -> None:
    """Each field goes back alone; one that was edited again since is not touched, and nothing else is."""
    design = target_row(Design, decision)
    steps = list(zip(decision.payload["set"], decision.before["was"], strict=True))
    for (path, value), _was in steps:
        if field_value(design, path) != value:
            refuse(
                "/target",
                "edited_since",
                _("“{field}” was edited again since.").format(field=" ".join(path)),
                _("Take the later edit back first."),
            )
    for (path, _value), was in reversed(steps):
        change_field(design, path, was)
    _edited(design)


def _edited(design: Design) -> None:
    design.refresh_from_db(fields=["edit_number"])
    Design.objects.filter(pk=design.pk).update(edit_number=design.edit_number + 1)


def check_merge(decision: Decision) -> None:
    source = target_row(Design, decision)
    there = _other(Design, decision.payload.get("design"), "/payload/design")
    if there.pk == source.pk:
        refuse("/payload/design", "design_same", _("A design can't be merged into itself."))
    for design in (source, there):
        if design.merged_into_id is not None:
            refuse(
                "/payload/design",
                "design_merged",
                _("“{name}” was merged into another design.").format(name=design.name),
                _("Take that merge back, or merge into the other one."),
            )
    check_labels(source, there, decision.payload, Place.objects.filter(position__design=source))


def has_starts(decision: Decision) -> bool:
    """Readers are shown settled cells of start positions of this design."""
    shown = CurrentChart.objects.filter(design__uuid=decision.target_uuid).select_related("revision").first()
    return shown is not None and starts_settled(json.loads(bytes(shown.revision.content)))


def merge_designs(decision: Decision) -> None:
    there = Design.objects.get(uuid=decision.payload["design"])
    Design.objects.filter(uuid=decision.target_uuid).update(merged_into=there)


def unmerge_designs(decision: Decision) -> None:
    Design.objects.filter(uuid=decision.target_uuid).update(merged_into=None)


def merge_touches(decision: Decision) -> set[int]:
    overlays = routing()
    return counted_in(None, decision.target_uuid, overlays) | counted_in(
        None, UUID(decision.payload["design"]), overlays
    )


def check_merge_parts(decision: Decision) -> None:
    part = target_row(PartNumber, decision)
    there = _other(PartNumber, decision.payload.get("part"), "/payload/part")
    if part.pk == there.pk or part.merged_into_id is not None or there.merged_into_id is not None:
        refuse("/payload/part", "part_merged", _("One of these numbers was merged already."))


def merge_parts(decision: Decision) -> None:
    there = PartNumber.objects.get(uuid=decision.payload["part"])
    PartNumber.objects.filter(uuid=decision.target_uuid).update(merged_into=there)


def unmerge_parts(decision: Decision) -> None:
    PartNumber.objects.filter(uuid=decision.target_uuid).update(merged_into=None)


def check_supersede(decision: Decision) -> None:
    older = target_row(PartNumber, decision)
    newer = _other(PartNumber, decision.payload.get("newer"), "/payload/newer")
    if older.pk == newer.pk:
        refuse("/payload/newer", "part_same", _("A number can't take its own place."))
    if decision.payload.get("same_pattern") not in SamePattern.values:
        refuse("/payload/same_pattern", "word_unknown", _("Say yes, no or unknown."))


def supersede(decision: Decision) -> None:
    link, made = Supersession.objects.get_or_create(
        older=PartNumber.objects.get(uuid=decision.target_uuid),
        newer=PartNumber.objects.get(uuid=decision.payload["newer"]),
        defaults={"same_pattern": decision.payload["same_pattern"]},
    )
    decision.before |= {"made": made, "same_pattern": link.same_pattern}
    link.same_pattern = decision.payload["same_pattern"]
    link.save(update_fields=["same_pattern"])


def unsupersede(decision: Decision) -> None:
    link = Supersession.objects.filter(
        older__uuid=decision.target_uuid, newer__uuid=decision.payload["newer"]
    ).first()
    later = Decision.objects.filter(
        kind=Decision.Kind.SUPERSEDE,
        target_uuid=decision.target_uuid,
        payload__newer=decision.payload["newer"],
        state=Decision.State.IN_FORCE,
        pk__gt=decision.pk,
    )
    if link is None or link.same_pattern != decision.payload["same_pattern"] or later.exists():
        refuse("/target", "edited_since", _("This link was changed since."), _("Take that back first."))
    if decision.before["made"]:
        link.delete()
    else:
        Supersession.objects.filter(pk=link.pk).update(same_pattern=decision.before["same_pattern"])


def edits_start(decision: Decision) -> bool:
    """Which positions release the starter, or by what the pins of a chart are found that tells of them."""
    fields = {path[0] for path, _value in decision.payload["set"]}
    return bool(fields & {"start", "start_known"}) or (
        bool(fields & {"viewing", "landmark"}) and has_starts(decision)
    )


def _other(model: Any, text: Any, field: str) -> Any:
    try:
        return model.objects.select_for_update(no_key=True).get(uuid=UUID(str(text)))
    except (ValueError, model.DoesNotExist):
        refuse(field, "target_unknown", _("There is nothing with this id."), _("Search for it."))


EFFECTS: dict[str, Effect] = {
    Decision.Kind.CONFIRM_DESIGN: Effect(DESIGN, check=check_confirm, apply=confirm, reverse=unconfirm),
    Decision.Kind.EDIT_DESIGN: Effect(
        DESIGN,
        check=check_edit,
        apply=edit,
        reverse=unedit,
        designs=own_design,
        previewed=True,
        needs_second=edits_start,
    ),
    Decision.Kind.MERGE_DESIGNS: Effect(
        DESIGN,
        check=check_merge,
        apply=merge_designs,
        reverse=unmerge_designs,
        designs=merge_touches,
        previewed=True,
        needs_second=has_starts,  # readers would be shown the other design's instead
    ),
    Decision.Kind.MERGE_PARTS: Effect(
        PART, check=check_merge_parts, apply=merge_parts, reverse=unmerge_parts
    ),
    Decision.Kind.SUPERSEDE: Effect(PART, check=check_supersede, apply=supersede, reverse=unsupersede),
}
