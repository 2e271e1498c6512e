"""A workshop's word that it reports all of its units, and a moderator's confirmation of it."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from registry.errors import refusal
from registry.models import Contributor, FleetReport, User
from registry.permissions import is_active, is_party, require
from registry.services.accounts import contributor_of
from registry.services.audit import record
from registry.translation import gettext as _

MOST_UNITS = 100_000


@transaction.atomic
def fleet_say(*, by: User, units: int) -> FleetReport:
    """Say that one's workshop reports every unit of its fleet, of so many; it counts once confirmed."""
    require(by, "submit")
    own = contributor_of(by)
    if own.workshop is None:
        raise refusal("no_workshop", _("You are of no workshop here."), _("Name it on your own page first."))
    if not 1 <= units <= MOST_UNITS:
        raise refusal(
            "out_of_range", _("That is no number of units."), _("Give how many there are."), field="/units"
        )
    if FleetReport.objects.filter(workshop=own.workshop, ended_at__isnull=True).exists():
        raise refusal("said_already", _("Your workshop has said so already."), _("End that first."))
    report = FleetReport.objects.create(workshop=own.workshop, said_by=own, units=units)
    _record(by, "fleet_say", report)
    return report


@transaction.atomic
def fleet_confirm(*, by: User, report: FleetReport) -> None:
    """A moderator who is not of that workshop has looked at it."""
    require(by, "moderate")
    if is_party(by, contributors=list(Contributor.objects.filter(workshop=report.workshop))):
        raise refusal("own_case", _("Nobody confirms their own workshop's word."), _("Leave it to another."))
    if report.ended_at is not None:
        raise refusal("ended", _("This word was taken back."))
    if report.confirmed_at is None:
        report.confirmed_by, report.confirmed_at = by, timezone.now()
        report.save(update_fields=["confirmed_by", "confirmed_at"])
        _record(by, "fleet_confirm", report)


@transaction.atomic
def fleet_end(*, by: User, report: FleetReport) -> None:
    """Who gave the workshop's word takes it back, or a moderator ends it: its units are volunteers' again.

    Not any colleague: to be of a workshop, it is enough to write its name on one's own page.
    """
    own = Contributor.objects.filter(user=by).first()
    if not is_active(by) or own is None or own.pk != report.said_by_id:
        require(by, "moderate")
    if report.ended_at is None:
        report.ended_at = timezone.now()
        report.save(update_fields=["ended_at"])
        _record(by, "fleet_end", report)


def _record(by: User, action: str, report: FleetReport) -> None:
    """Without the number of units: the log is published, and a workshop's fleet is its own matter."""
    record(by=by, action=action, target_kind="workshop", target_uuid=report.workshop.uuid)
