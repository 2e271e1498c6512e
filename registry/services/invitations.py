"""Moderators invite moderators: a link by mail that works once, for the address it went to, for a week.

Nobody makes their own second voice: another moderator agrees before the link is sent.  Where there is none,
the link works after the stated time only.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import UUID

from django.contrib.auth.models import Group
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.mail import EmailMessage
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.errors import refusal
from registry.formats.link_tokens import link_digest
from registry.models import Invitation, User
from registry.models.invitations import FROM_THE_DESK
from registry.permissions import MODERATORS, is_active, require
from registry.selectors.parties import SECOND_AFTER_DAYS, moderators, second_voices
from registry.services.accounts import contributor_of
from registry.services.audit import record
from registry.services.decision_waiting import waiting_time
from registry.services.notices import notify
from registry.translation import gettext as _

LASTS = timedelta(days=7)
MOST_OPEN = 20


@transaction.atomic
def invitation_make(*, by: User | None, email: str, link: Callable[[str], str]) -> tuple[Invitation, str]:
    """The invitation and its address, which was mailed too; "" while it waits for another moderator.

    by: a moderator; None: who runs the registry, by command.  link: makes the address from the token.
    Raises RegistryErrors, PermissionDenied.
    """
    if by is not None:
        require(by, "moderate")
    email, token, now = _checked(email, by), secrets.token_urlsafe(32), timezone.now()
    others = [] if by is None else list(second_voices().exclude(pk=by.pk))
    opens_at = now + waiting_time() if by is not None and not others else None
    invitation = Invitation.objects.create(
        email=email, digest=link_digest(token), made_by=by, needs_second=by is not None,
        opens_at=opens_at, expires_at=(opens_at or now) + LASTS,
    )  # fmt: skip
    record(by=by, action="invitation_make", target_kind="invitation", target_uuid=invitation.uuid)
    for other in others:
        notify(other, "invitation_waits")
    return invitation, "" if others else _sent(invitation, link(token))


@transaction.atomic
def invitation_agree(*, by: User, uuid: UUID, link: Callable[[str], str]) -> bool:
    """The second moderator's yes: the link goes out; False where no invitation waits for it."""
    require(by, "moderate")
    waiting = _open().filter(FROM_THE_DESK, uuid=uuid, agreed_at=None)
    invitation = waiting.select_for_update(no_key=True).first()
    if invitation is None:
        return False
    if invitation.made_by_id == by.pk or not second_voices().filter(pk=by.pk).exists():
        raise PermissionDenied(
            _("Another moderator must agree, who has been one for {n} days.").format(n=SECOND_AFTER_DAYS)
        )
    token, now = secrets.token_urlsafe(32), timezone.now()
    invitation.digest, invitation.agreed_at, invitation.expires_at = link_digest(token), now, now + LASTS
    invitation.opens_at = None
    invitation.save(update_fields=["digest", "agreed_at", "opens_at", "expires_at"])
    record(by=by, action="invitation_agree", target_kind="invitation", target_uuid=uuid)
    _sent(invitation, link(token))
    return True


def _sent(invitation: Invitation, address: str) -> str:
    lines = [
        _(
            "You are asked to help decide cases at the moderators' desk of this registry.\n\n"
            "{address}\n\n"
            "The link works once, until {day}, for the account with this e-mail address. "
            "Moderators sign in with a second factor. If you don't want to, do nothing."
        ).format(address=address, day=invitation.expires_at.date().isoformat())
    ]
    if invitation.opens_at is not None:
        lines.append(_opens(invitation.opens_at))
    mail = EmailMessage(
        subject=_("Benchquorum: you are invited to moderate"),
        body="\n\n".join(lines),
        to=[invitation.email],
    )
    mail.send()  # which writes it down in this transaction
    return address


def _opens(at: datetime) -> str:
    return _("It doesn't work before {day}.").format(day=at.date().isoformat())


@transaction.atomic
def invitation_withdraw(*, by: User, uuid: UUID) -> bool:
    """Ends a link that was not used yet; False where there is none such from the desk.

    One by command is not the desk's to end: whoever runs the registry sends it against a rogue moderator too.
    """
    require(by, "moderate")
    gone = _open().filter(FROM_THE_DESK, uuid=uuid).update(withdrawn_at=timezone.now(), email="")
    if gone:
        record(by=by, action="invitation_withdraw", target_kind="invitation", target_uuid=uuid)
    return bool(gone)


def invitation_of(token: str) -> Invitation | None:
    """The invitation behind a link that still works."""
    return _open().filter(digest=link_digest(token)).first()


@transaction.atomic
def invitation_take(*, by: User, token: str) -> None:
    """Become a moderator, once.  Raises RegistryErrors where the link doesn't work, or for somebody else."""
    require(by, "submit")
    invitation = _open().select_for_update(no_key=True).filter(digest=link_digest(token)).first()
    if invitation is None:
        raise refusal("invitation_over", _("This link works no more."), _("Ask for another one."))
    if invitation.email != by.email or not is_active(by):
        raise refusal(
            "invitation_other_address",
            _("This invitation went to another e-mail address."),
            _("Sign in with the account of that address, or make one."),
        )
    if invitation.agreed_at is not None and not _vouched(invitation):
        raise refusal(
            "invitation_over",
            _("Whoever made this invitation doesn't moderate any more."),
            _("Ask for another one."),
        )
    if not _agreed(invitation):
        advice = _("Wait until another moderator has agreed.")
        raise refusal(
            "invitation_waits",
            _("This link doesn't work yet."),
            advice if invitation.opens_at is None else _opens(invitation.opens_at),
        )
    invitation.used_at, invitation.used_by, invitation.email = timezone.now(), by, ""
    invitation.save(update_fields=["used_at", "used_by", "email"])
    by.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    contributor_of(by)  # the name under which the desk can decide about this account
    record(by=by, action="invitation_take", target_kind="invitation", target_uuid=invitation.uuid)


def _agreed(invitation: Invitation) -> bool:
    """By another moderator; or the stated time went by, and who made it is a moderator still."""
    waited = invitation.opens_at is not None and invitation.opens_at <= timezone.now()
    agreed = invitation.agreed_at is not None or waited or not _from_the_desk(invitation)
    return agreed and _vouched(invitation)


def _from_the_desk(invitation: Invitation) -> bool:
    return invitation.needs_second or invitation.made_by_id is not None


def _vouched(invitation: Invitation) -> bool:
    """By who runs the registry, or by a moderator who is one still: nobody relieved leaves a successor."""
    return not _from_the_desk(invitation) or moderators().filter(invitations_made=invitation).exists()


def invitations_forget() -> int:
    """Addresses of invitations that ran out unused; how many were forgotten."""
    return Invitation.objects.filter(~Q(email=""), expires_at__lte=timezone.now()).update(email="")


def _open() -> QuerySet[Invitation]:
    return Invitation.objects.filter(used_at=None, withdrawn_at=None, expires_at__gt=timezone.now())


def _checked(text: str, by: User | None) -> str:
    email = User.objects.normalize_email(text.strip()).lower()
    try:
        validate_email(email)
    except ValidationError:
        raise refusal(
            "email_unreadable",
            _("This is not an e-mail address."),
            _("Write it as name@place."),
            field="/email",
        ) from None
    if User.objects.filter(email=email, groups__name=MODERATORS).exists():
        raise refusal("moderator_already", _("This person is a moderator already."), field="/email")
    if by is not None and _open().filter(FROM_THE_DESK).count() >= MOST_OPEN:
        message = _("Many invitations are open already.")
        raise refusal("too_many_invitations", message, _("Withdraw one first."), field="/email")
    return email
