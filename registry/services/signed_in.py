"""Where an account is signed in, and how to end that: one session, or all but the one at hand."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime

from allauth.usersessions.adapter import get_adapter
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.db import transaction

from registry.models import User
from registry.permissions import MODERATORS, is_active, require
from registry.services.sign_ups import block_of
from registry.services.traces import sessions_end_all
from registry.sessions import SEEN, session_is_over


@dataclass(frozen=True)
class SignedIn:
    """number: by which it is ended; agent: what the browser calls itself; block: of the network address."""

    number: int
    agent: str
    block: str
    began: datetime
    seen: datetime
    is_here: bool


@transaction.atomic
def sessions_of(user: User, *, here: str | None) -> list[SignedIn]:
    """The live ones, latest first; what is over is forgotten on the way.  here: key of the one at hand."""
    rows = UserSession.objects.purge_and_list(user)
    kept = Session.objects.in_bulk([row.session_key for row in rows])
    found, now = [], time.time()
    for row in rows:
        data = kept[row.session_key].get_decoded() if row.session_key in kept else {}
        if row.session_key != here and session_is_over(data, user, now):
            get_adapter().end_sessions([row])
            continue
        found.append(
            SignedIn(
                row.pk,
                row.user_agent,
                block_of(row.ip),
                row.created_at,
                datetime.fromtimestamp(float(data.get(SEEN, row.last_seen_at.timestamp())), UTC),
                row.session_key == here,
            )
        )
    return sorted(found, key=lambda one: (one.is_here, one.seen), reverse=True)


@transaction.atomic
def session_end(*, by: User, number: int) -> bool:
    """End one of one's own; False where there is none such."""
    require(by, "read_own")
    rows = list(UserSession.objects.filter(user=by, pk=number))
    get_adapter().end_sessions(rows)
    return bool(rows)


@transaction.atomic
def sessions_end_others(*, by: User, here: str | None) -> None:
    """All but the one at hand."""
    require(by, "read_own")
    sessions_end_all(by, but=here)


@transaction.atomic
def sessions_end_unproven(*, by: User, here: str | None) -> None:
    """A moderator's, but the one at hand: they have shown no second factor, or not the new one.

    Such a session would have a moderator's rights as soon as there is a factor, whoever began it.
    """
    if is_active(by) and by.groups.filter(name=MODERATORS).exists():
        sessions_end_all(by, but=here)
