"""Which designs a decision or a dispute is about: its target may be a sheet, a revision, a number of them."""

from __future__ import annotations

from uuid import UUID

from registry.models import Design, Target

# How a design leads to the target; cells and variants are named by their design.
LEADS: dict[str, str] = {
    Target.DESIGN: "uuid",
    Target.CELL: "uuid",
    Target.VARIANT: "uuid",
    Target.SHEET: "sheets__uuid",
    Target.REVISION: "revisions__uuid",
    Target.FACT: "facts__uuid",
    Target.PART_NUMBER: "part_numbers__uuid",
}


def designs_about(target_kind: str, target: UUID | str) -> list[UUID]:
    """Their ids; none for an account, whose sheets may be anywhere.  ValidationError: it is no id."""
    if target_kind not in LEADS:
        return []
    designs = Design.objects.filter(**{LEADS[target_kind]: target}).distinct().order_by("pk")
    return list(designs.values_list("uuid", flat=True))
