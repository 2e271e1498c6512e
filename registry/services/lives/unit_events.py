"""What became of a unit, told by its contributor: still good, failed, taken out good; at which distance."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from registry.errors import refusal
from registry.models import Unit, UnitEvent, User
from registry.models.jobs import UnitEventKind
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.audit import record
from registry.services.fields import Fields
from registry.translation import gettext as _

FARTHEST_KM = 1e7


@transaction.atomic
def unit_event_tell(*, by: User, unit: Unit, body: Any) -> UnitEvent:
    """body: kind, distance_km; entered_km where it came used; good_km of a failure: where it was last good,
    the same as distance_km where the failure was noticed when it happened; happened_on."""
    require(by, "submit")
    if unit.contributor_id != contributor_of(by).pk:
        raise PermissionDenied(_("Only who read this unit can say what became of it."))
    fields = Fields(body)
    event = UnitEvent(
        unit=unit,
        contributor=unit.contributor,
        kind=fields.one_of("kind", UnitEventKind.values, ""),
        distance_km=fields.number("distance_km", None, high=FARTHEST_KM),
        entered_km=fields.number("entered_km", 0.0, high=FARTHEST_KM) or 0.0,
        good_km=fields.number("good_km", None, high=FARTHEST_KM),
        happened_on=fields.day("happened_on"),
    )
    _check(event, fields)
    fields.raise_all()
    event.save()
    record(by=by, action="unit_event", target_kind="unit", target_uuid=unit.uuid, kind=event.kind)
    return event


@transaction.atomic
def unit_event_take_back(*, by: User, event: UnitEvent) -> None:
    """What one said oneself no longer counts; what a job sent is taken back in the job."""
    require(by, "submit")
    if event.contributor_id != contributor_of(by).pk:
        raise PermissionDenied(_("Only who read this unit can say what became of it."))
    if event.job_id is not None:
        raise refusal("of_a_job", _("A job of yours told this."), _("Take it back there."), field="/event")
    if event.withdrawn_at is None:
        event.withdrawn_at = timezone.now()
        event.save(update_fields=["withdrawn_at"])
        record(by=by, action="unit_event_take_back", target_kind="unit", target_uuid=event.unit.uuid)


def _check(event: UnitEvent, fields: Fields) -> None:
    """Distances on one unit don't fall."""
    if not event.kind:
        fields.wrong("kind", "value_missing", _("This is missing."), _("Say what became of it."))
    if event.kind == UnitEventKind.FITTED and event.distance_km is None:
        event.distance_km = event.entered_km
    if event.distance_km is None:
        advice = _("Count the distance on the unit, not on the vehicle.")
        fields.wrong("distance_km", "value_missing", _("This is missing."), advice)
        return
    failed = event.kind == UnitEventKind.FAILED
    if event.good_km is not None and not failed:
        event.good_km = None
    order = _("Distances on one unit don't fall: it came, was good, failed.")
    if event.good_km is not None and event.good_km > event.distance_km:
        fields.wrong("good_km", "distance_order", _("It can't have been good after it failed."), order)
    if event.entered_km > event.distance_km or (failed and event.entered_km >= event.distance_km):
        fields.wrong("entered_km", "distance_order", _("It can't have come after that."), order)
    if event.good_km is not None and event.good_km < event.entered_km <= event.distance_km:
        fields.wrong("good_km", "distance_order", _("It was good when it came, at least."), order)
