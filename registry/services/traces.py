"""What packages beside ours keep of a person: sign-ins, sessions.  It goes with time, and by erasure."""

from __future__ import annotations

from datetime import timedelta

from allauth.account.models import EmailAddress
from allauth.usersessions.models import UserSession
from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.utils import timezone

from registry.models import Contributor, Invitation, User, Workshop
from registry.services.mail import mail_drop
from registry.sign_in import account_digest

KEPT = timedelta(days=30)
CHUNK = 500


def traces_age() -> int:
    """Forget sign-ins older than 30 days and sessions that are over; how many rows."""
    now = timezone.now()
    gone = 0
    for model in (AccessAttempt, AccessFailureLog, AccessLog):
        gone += model.objects.filter(attempt_time__lt=now - KEPT).delete()[0]
    gone += Session.objects.filter(expire_date__lt=now).delete()[0]
    return gone + UserSession.objects.exclude(session_key__in=Session.objects.values("pk")).delete()[0]


def traces_erase(user: User) -> None:
    """Everything that still names this account: it is about to be deleted."""
    addresses = {user.email, *EmailAddress.objects.filter(user=user).values_list("email", flat=True)}
    for model in (AccessAttempt, AccessFailureLog, AccessLog):
        model.objects.filter(username__in={*addresses, *map(account_digest, addresses)}).delete()
    for address in addresses:
        Invitation.objects.filter(email__iexact=address).update(email="")
    mail_drop(addresses)
    sessions_end_all(user)
    _workshop_name_forget(user)
    _workshops_left_forget()


def sessions_end_all(user: User, *, but: str | None = None) -> None:
    """All of this account's, those too that no list has.  but: the key of one that stays.

    A session says whose it is only inside, where the address stands too.
    """
    own = [
        session.pk
        for session in Session.objects.iterator(chunk_size=CHUNK)
        if session.pk != but and session.get_decoded().get(SESSION_KEY) == str(user.pk)
    ]
    for start in range(0, len(own), CHUNK):
        Session.objects.filter(pk__in=own[start : start + CHUNK]).delete()
    UserSession.objects.filter(user=user).exclude(session_key=but or "").delete()


def _workshop_name_forget(user: User) -> None:
    """A workshop that nobody else with an account is of keeps its place in the evidence, not its name."""
    own = Contributor.objects.filter(user=user).select_related("workshop").first()
    if own is None or own.workshop is None:
        return
    if not own.workshop.contributors.exclude(pk=own.pk).filter(user__isnull=False).exists():
        _forget_name(own.workshop)


def _workshops_left_forget() -> None:
    """Those that nobody is of any more; who was is told nowhere, so this account's cannot be told apart."""
    for workshop in Workshop.objects.filter(contributors=None):
        _forget_name(workshop)


def _forget_name(workshop: Workshop) -> None:
    forgotten = f"workshop {workshop.uuid}"
    if workshop.name != forgotten:
        workshop.name = forgotten
        workshop.save(update_fields=["name"])
