"""Moderators invite moderators: a link by mail that works once, for the address it went to, for a week."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import timedelta
from uuid import UUID

from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.errors import refusal
from registry.formats.link_tokens import link_digest
from registry.models import Invitation, User
from registry.permissions import MODERATORS, is_active, require
from registry.services.audit import record
from registry.translation import gettext as _

LASTS = timedelta(days=7)
MOST_OPEN = 20


@transaction.atomic
def invitation_make(*, by: User | None, email: str, link: Callable[[str], str]) -> tuple[Invitation, str]:
    """The invitation and its address, which was mailed too.

    by: a moderator; None: who runs the registry, by command.  link: makes the address from the token.
    Raises RegistryErrors, PermissionDenied.
    """
    if by is not None:
        require(by, "moderate")
    email = _checked(email)
    token = secrets.token_urlsafe(32)
    invitation = Invitation.objects.create(
        email=email, digest=link_digest(token), made_by=by, expires_at=timezone.now() + LASTS
    )
    record(by=by, action="invitation_make", target_kind="invitation", target_uuid=invitation.uuid)
    address = link(token)
    mail = EmailMessage(
        subject=_("Benchquorum: you are invited to moderate"),
        body=_(
            "You are asked to help decide cases at the moderators' desk of this registry.\n\n"
            "{address}\n\n"
            "The link works once, until {day}, for the account with this e-mail address. "
            "Moderators sign in with a second factor. If you don't want to, do nothing."
        ).format(address=address, day=invitation.expires_at.date().isoformat()),
        to=[email],
    )
    mail.send()  # which writes it down in this transaction
    return invitation, address


@transaction.atomic
def invitation_withdraw(*, by: User, uuid: UUID) -> bool:
    """Ends a link that was not used yet; False where there is none such."""
    require(by, "moderate")
    gone = _open().filter(uuid=uuid).update(withdrawn_at=timezone.now(), email="")
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
    invitation = _open().select_for_update().filter(digest=link_digest(token)).first()
    if invitation is None:
        raise refusal("invitation_over", _("This link works no more."), _("Ask for another one."))
    if invitation.email != by.email or not is_active(by):
        raise refusal(
            "invitation_other_address",
            _("This invitation went to another e-mail address."),
            _("Sign in with the account of that address, or make one."),
        )
    invitation.used_at, invitation.used_by, invitation.email = timezone.now(), by, ""
    invitation.save(update_fields=["used_at", "used_by", "email"])
    by.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    record(by=by, action="invitation_take", target_kind="invitation", target_uuid=invitation.uuid)


def invitations_forget() -> int:
    """Addresses of invitations that ran out unused; how many were forgotten."""
    return Invitation.objects.filter(~Q(email=""), expires_at__lte=timezone.now()).update(email="")


def _open() -> QuerySet[Invitation]:
    return Invitation.objects.filter(used_at=None, withdrawn_at=None, expires_at__gt=timezone.now())


def _checked(text: str) -> str:
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
    if _open().count() >= MOST_OPEN:
        message = _("Many invitations are open already.")
        raise refusal("too_many_invitations", message, _("Withdraw one first."), field="/email")
    return email
