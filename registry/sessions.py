"""Sessions end by themselves: after a while without a request, and after two weeks whatever happens."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage
from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest, HttpResponse

from registry.models import User
from registry.permissions import is_moderator

BEGAN, SEEN = "session_began", "session_seen"  # s since 1970
HOUR, DAY = 3600.0, 86400.0
NOTED_EVERY = HOUR / 4  # so a page rarely writes
MODERATOR_IDLE_HOURS = 12.0
MESSAGES_COOKIE = f"{settings.COOKIE_PREFIX}messages"


class SessionEnds:
    """After the one that knows who is signed in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SESSION_COOKIE_NAME in request.COOKIES and isinstance(request.user, User):
            now = time.time()
            if session_is_over(request.session, request.user, now):
                logout(request)
            elif now - float(request.session.get(SEEN, 0.0)) > NOTED_EVERY:
                request.session[SEEN] = now
                request.session.setdefault(BEGAN, now)
            response = self.get_response(request)
            response.setdefault("Cache-Control", "private")  # it names who is there: no proxy keeps it
            return response
        return self.get_response(request)


def session_is_over(session: Mapping[str, Any] | SessionBase, user: User, now: float) -> bool:
    """session: what is kept in it; now: s since 1970."""
    seen, began = session.get(SEEN), session.get(BEGAN)
    if seen is None or began is None:
        return False
    idle = now - float(seen)
    if idle > settings.BENCHQUORUM_IDLE_HOURS * HOUR:
        return True
    if now - float(began) > settings.BENCHQUORUM_SESSION_DAYS * DAY:
        return True
    return idle > MODERATOR_IDLE_HOURS * HOUR and is_moderator(user)


class _HostCookie(CookieStorage):
    cookie_name = MESSAGES_COOKIE


class MessagesKept(FallbackStorage):
    """Django's own, its cookie under a name that only this host can set."""

    storage_classes = (_HostCookie, SessionStorage)
