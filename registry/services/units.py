"""Whose switch is whose: two people's words make two units one."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.db import transaction

from registry.errors import refusal
from registry.models import Unit, UnitMatch, User
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.audit import record
from registry.services.sheets import queue_refresh
from registry.translation import gettext as _


@transaction.atomic
def unit_same(*, by: User, unit: Unit, same_as: Unit) -> bool:
    """Say that one's own unit is another's; True once the other owner has said so too."""
    require(by, "submit")
    own = contributor_of(by)
    if own.pk not in (unit.contributor_id, same_as.contributor_id):
        raise PermissionDenied(_("Only the people who read these units can say that they are one."))
    if unit.design_id != same_as.design_id or unit.pk == same_as.pk:
        raise refusal(
            "units_not_comparable",
            _("These two can't be one switch."),
            _("Name two units of one design."),
            field="/same_as",
        )
    pair = Unit.objects.filter(
        pk__in=[unit.pk, same_as.pk]
    )  # of two who say so at once the second hears the first
    list(pair.order_by("pk").select_for_update(no_key=True).values_list("pk"))
    UnitMatch.objects.get_or_create(unit=unit, same_as=same_as, said_by=own)
    both = {unit.contributor_id, same_as.contributor_id}
    said = set(
        UnitMatch.objects.filter(unit__in=[unit, same_as], same_as__in=[unit, same_as]).values_list(
            "said_by_id", flat=True
        )
    )
    record(by=by, action="unit_same", target_kind="unit", target_uuid=unit.uuid, other=str(same_as.uuid))
    if both <= said:
        queue_refresh(unit.design)
    return both <= said


@transaction.atomic
def unit_same_take_back(*, by: User, unit: Unit, same_as: Unit) -> None:
    """Take one's own word back; the units are two again."""
    own = contributor_of(by)
    pair = [unit, same_as]
    gone, _rows = UnitMatch.objects.filter(unit__in=pair, same_as__in=pair, said_by=own).delete()
    if gone:
        record(by=by, action="unit_same_take_back", target_kind="unit", target_uuid=unit.uuid)
        queue_refresh(unit.design)
