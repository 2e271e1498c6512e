"""What is due in a workshop's fleet, by mail each week, to the members who asked for it."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import Q
from django.utils import timezone, translation

from registry.formats.fleet_words import chance_says, due_says
from registry.models import Membership, Organisation
from registry.selectors.fleet import DueLine, due_list
from registry.services.notices import stop_address
from registry.services.one_by_one import OneByOne
from registry.translation import gettext as _

EVERY = timedelta(days=7)
SOON = timedelta(days=60)
MOST_LINES = 20


def digests_mail() -> int:
    """Send what is due to whoever has had no such mail for a week; how many were sent.

    Raises SomeFailed, after all of them.
    """
    owed = Organisation.objects.filter(memberships__wants_digest=True).filter(
        Q(digest_sent_on=None) | Q(digest_sent_on__lte=timezone.localdate() - EVERY)
    )
    mails = OneByOne("mails of what is due")
    for organisation in owed.distinct().order_by("pk"):
        mails.run(partial(_mail_members, organisation, mails))
    return mails.end()


def _mail_members(organisation: Organisation, mails: OneByOne) -> int:
    """Written down and marked in one transaction; a member whose mail can't be made keeps no other's back.

    That member has none this week: the mark is the fleet's, and the others would be told twice.
    """
    organisation = Organisation.objects.select_for_update(no_key=True).get(pk=organisation.pk)
    today = timezone.localdate()
    if organisation.digest_sent_on is not None and organisation.digest_sent_on > today - EVERY:
        return 0  # another process was quicker
    lines = [line for line in due_list(organisation) if _worth_saying(line)][:MOST_LINES]
    organisation.digest_sent_on = today
    organisation.save(update_fields=["digest_sent_on"])
    if not lines:
        return 0
    members = organisation.memberships.filter(
        wants_digest=True, user__is_active=True, user__wants_mail=True
    ).select_related("user")
    for member in members:
        mails.run(partial(_mail, member, organisation, lines))
    return 0  # each member was counted


def _worth_saying(line: DueLine) -> bool:
    soon = line.due_on is not None and line.due_on <= timezone.localdate() + SOON
    return line.overdue or soon


def _mail(member: Membership, organisation: Organisation, lines: list[DueLine]) -> int:
    user = member.user
    unit = user.distance_unit
    with translation.override(user.language or settings.LANGUAGE_CODE):
        stop = stop_address(user)
        said = [
            f"- {line.vehicle.label}: {due_says(line, unit)} {chance_says(line, organisation.next_km, unit)}"
            for line in lines
        ]
        ending = _("To have no more mail: {address}").format(address=stop)
        EmailMessage(
            subject=_("Due in the fleet of {name}").format(name=organisation.name),
            body="\n".join([*said, "", ending]),
            to=[user.email],
            headers={"List-Unsubscribe": f"<{stop}>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"},
        ).send()
    return 1
