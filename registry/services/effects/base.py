"""What a kind of decision needs, does and takes back."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeVar
from uuid import UUID

from django.db import models

from registry.errors import refuse
from registry.models import (
    ChartRevision,
    Contributor,
    Decision,
    Design,
    Dispute,
    JobFact,
    PartNumber,
    Sheet,
    Target,
)
from registry.selectors.evidence import Overlays, decisions_in_force, designs_fed_by
from registry.selectors.parties import decision_undone
from registry.translation import gettext as _

Row = TypeVar("Row", bound=models.Model)


def nothing(decision: Decision) -> None:
    """Kinds that lie over the data have nothing to write and nothing to take back."""


def no_designs(decision: Decision) -> set[int]:
    return set()


@dataclass(frozen=True)
class Effect:
    """One kind of decision.

    check: raises RegistryErrors where it can't be done; apply: writes what isn't an overlay, and into
    `before` what reverse needs; reverse: the exact inverse; designs: ids of those whose charts may change;
    previewed: the charts are computed before deciding, so that a touched start position is known;
    by_person: no stated time stands in for the second voice.
    """

    targets: tuple[str, ...]
    check: Callable[[Decision], None] = nothing
    apply: Callable[[Decision], None] = nothing
    reverse: Callable[[Decision], None] = nothing
    designs: Callable[[Decision], set[int]] = no_designs
    previewed: bool = False
    needs_second: Callable[[Decision], bool] = lambda decision: False
    by_person: bool = False


def target_row(model: type[Row], decision: Decision) -> Row:
    """The row that the decision is about, held until the end of the transaction."""
    manager = model._default_manager
    row = manager.select_for_update(no_key=True).filter(uuid=decision.target_uuid).first()
    if row is None:
        refuse("/target", "target_unknown", _("What this decision is about is not here (any more)."))
    return row


LOCKED: dict[str, type[models.Model]] = {
    Target.SHEET: Sheet,
    Target.CELL: Design,
    Target.DESIGN: Design,
    Target.REVISION: ChartRevision,
    Target.PART_NUMBER: PartNumber,
    Target.ACCOUNT: Contributor,
    Target.FACT: JobFact,
}


def lock_target(decision: Decision) -> None:
    """Two who decide at once come one after the other, and the second sees what the first did.

    First the dispute, which whoever opened it may be taking back.  Of designs all that are touched, in the
    order in which they are marked: whoever holds one of these waits for nobody who waits for them.
    """
    if decision.kind == Decision.Kind.UNDO:
        undone = decision_undone(decision)
        if undone is not None:
            lock_target(undone)
        return
    if decision.dispute is not None:
        decision.dispute = Dispute.objects.select_for_update(no_key=True).get(pk=decision.dispute.pk)
    model = LOCKED.get(decision.target_kind)
    if model is Design:
        rows = Design.objects.filter(pk__in=_designs_touched(decision))
        list(rows.order_by("pk").select_for_update(no_key=True).values_list("pk"))
    elif model is not None:
        model._default_manager.select_for_update(no_key=True).filter(uuid=decision.target_uuid).first()


def _designs_touched(decision: Decision) -> set[int]:
    uuids = {decision.target_uuid}
    with suppress(ValueError):  # of another registry, or not looked at yet
        uuids.add(UUID(str(decision.payload.get("design"))))
    return designs_fed_by(Design.objects.filter(uuid__in=uuids).values_list("pk", flat=True))


def routing() -> Overlays:
    """Moves and merges in force."""
    return Overlays(decisions_in_force((Decision.Kind.MOVE, Decision.Kind.MERGE_DESIGNS)))


def counted_in(sheet: UUID | None, design: UUID, overlays: Overlays) -> set[int]:
    """Ids of the design itself and of the one for which it, or the sheet, counts now."""
    uuids = {design, overlays.design_of(sheet, design)}
    return set(Design.objects.filter(uuid__in=uuids).values_list("pk", flat=True))


SHEET = (Target.SHEET.value,)
DESIGN = (Target.DESIGN.value,)
REVISION = (Target.REVISION.value,)
ACCOUNT = (Target.ACCOUNT.value,)
FACT = (Target.FACT.value,)
PART = (Target.PART_NUMBER.value,)
