"""`Idempotency-Key` (draft-ietf-httpapi-idempotency-key-header): a retry gets the first answer again."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta

from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.utils import timezone
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.models import KeptAnswer
from api.problems import Failure
from registry.models import User
from registry.services.refreshes import queue_left_behind
from registry.translation import gettext as _

KEPT_FOR = timedelta(days=7)
HEADERS = ("Location", "ETag", "Cache-Control", "Preference-Applied")  # of the answer, not of the way to it
_KEY = re.compile(r'[!#-\[\]-~]{1,255}|"[!#-\[\]-~]{1,253}"')


def once(request: Request, act: Callable[[], Response]) -> Response | HttpResponse:
    """act's answer; with the header, the answer and the deed are stored together or not at all.

    A refused request keeps no key: the same one may be sent again with what was wrong put right.
    """
    header = request.headers.get("Idempotency-Key")
    if header is None:
        return act()
    if not _KEY.fullmatch(header):
        raise Failure(
            400, "idempotency_key_invalid", _("An Idempotency-Key is 1 to 255 plain signs without blanks.")
        )
    assert isinstance(request.user, User)
    key, digest = header.strip('"'), _digest(request)
    with transaction.atomic():
        kept = _claim(request.user, key, digest)
        if kept.status:
            queue_left_behind()  # by a process that was killed after the deed, before its charts
            return _again(kept, digest)
        response = act()
        kept.status, kept.body = response.status_code, JSONRenderer().render(response.data)
        kept.headers = {name: response[name] for name in HEADERS if name in response}
        kept.save(update_fields=["status", "body", "headers"])
    return response


def _claim(user: User, key: str, digest: str) -> KeptAnswer:
    """A row of our own, or the first one's; where two come at once the second waits here for the first."""
    KeptAnswer.objects.filter(created_at__lt=timezone.now() - KEPT_FOR).delete()
    try:
        with transaction.atomic():
            return KeptAnswer.objects.create(user=user, key=key, request_digest=digest)
    except IntegrityError:
        return KeptAnswer.objects.get(user=user, key=key)


def _again(kept: KeptAnswer, digest: str) -> HttpResponse:
    if kept.request_digest != digest:
        raise Failure(
            422,
            "idempotency_key_used",
            _("This Idempotency-Key came with another request before. Use a key of its own for each deed."),
        )
    status = 200 if kept.status == 201 else kept.status
    response = HttpResponse(bytes(kept.body), status=status, content_type="application/json")
    for name, value in (kept.headers or {}).items():
        response[name] = value
    response["Idempotency-Replayed"] = "true"
    return response


def _digest(request: Request) -> str:
    """Of what was asked: method, address and body, byte for byte."""
    request.data  # noqa: B018  reading it is what sets the body's digest
    body = getattr(request, "body_digest", "")
    return hashlib.sha256(f"{request.method} {request.path}\n{body}".encode()).hexdigest()
