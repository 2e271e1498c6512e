"""Who is asking: a token in the Authorization header, or the session of the pages (then with CSRF)."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone
from knox.crypto import hash_token
from rest_framework.authentication import (
    BaseAuthentication,
    SessionAuthentication,
    get_authorization_header,
)
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from api.problems import Failure
from registry.models import ApiToken, User
from registry.services.tokens import token_used
from registry.translation import gettext as _

CHALLENGE = 'Token realm="benchquorum"'
USE_NOTED_EVERY = timedelta(hours=1)


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Token …` (or `Bearer …`).  Only the digest of a token is known to the registry."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        words = get_authorization_header(request).split()
        if not words or words[0].lower() not in (b"token", b"bearer"):
            return None
        if len(words) != 2:
            raise AuthenticationFailed(_("Write “Authorization: Token ” and the token, nothing else."))
        try:
            secret = words[1].decode("ascii")
        except UnicodeDecodeError:
            raise AuthenticationFailed(_("This token is not known.")) from None
        token = ApiToken.objects.select_related("user__contributor").filter(digest=hash_token(secret)).first()
        if token is None or not token.user.is_active:
            raise AuthenticationFailed(_("This token is not known."))
        now = timezone.now()
        if token.expiry is not None and token.expiry <= now:
            raise AuthenticationFailed(_("This token has expired. Make a new one on your own page."))
        if token.last_used_at is None or now - token.last_used_at > USE_NOTED_EVERY:
            token_used(token=token)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return CHALLENGE


class Session(SessionAuthentication):
    """The session of the pages; a write without its CSRF token is refused, whoever is signed in."""

    def enforce_csrf(self, request: Request) -> None:
        try:
            super().enforce_csrf(request)
        except PermissionDenied:
            raise Failure(
                403,
                "csrf_failed",
                _("A write from a session needs the X-CSRFToken header, with the value of its cookie."),
            ) from None
