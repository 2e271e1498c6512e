"""The one error handler of the API: whatever goes wrong becomes a problem document, never a stack trace."""

from __future__ import annotations

import logging
import math
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import Http404, HttpResponse, UnreadablePostError
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.views import set_rollback

from api.authentication import CHALLENGE
from api.problems import Failure, Plain, problem, problem_of_errors, problem_response
from registry.errors import RegistryError, RegistryErrors, pointer
from registry.outages import RETRY_SECONDS, TookTooLong, is_outage
from registry.permissions import MirrorReadOnly
from registry.request_log import path_shown
from registry.translation import gettext as _

log = logging.getLogger("api.errors")


def problem_details(exc: Exception, context: dict[str, Any]) -> HttpResponse:
    """Called for every exception that leaves a view of the API."""
    set_rollback()
    request: Request = context["request"]
    response = problem_response(_body(exc, request))
    header = getattr(exc, "auth_header", None)
    if header is None and response.status_code == 401:
        header = CHALLENGE
    if header and response.status_code == 401:
        response["WWW-Authenticate"] = header
    wait = RETRY_SECONDS if response.status_code == 503 else getattr(exc, "wait", None)
    if wait:
        response["Retry-After"] = str(math.ceil(wait))
    return response


def _body(exc: Exception, request: Request) -> Plain:
    if isinstance(exc, Failure):
        return exc.body
    if isinstance(exc, RegistryErrors):
        return problem_of_errors(list(exc.errors), more=exc.more)
    if isinstance(exc, RegistryError):
        return problem_of_errors([exc])
    if isinstance(exc, exceptions.ValidationError):
        return problem_of_errors(list(_flat(exc.detail, ())))
    if isinstance(exc, MirrorReadOnly):
        return problem(403, "mirror_read_only", str(exc), registry=exc.url)
    if isinstance(exc, PermissionDenied) or type(exc) is exceptions.PermissionDenied:
        return _refused(str(exc), request)
    if isinstance(exc, Http404):
        return problem(404, "not_found", _("There is nothing at this address."))
    if isinstance(exc, RequestDataTooBig):
        return problem(413, "too_large", _("This is too large to be taken in one go. Send it in parts."))
    if isinstance(exc, SuspiciousOperation | UnreadablePostError):
        return problem(400, "unreadable", _("The request could not be read."))
    if isinstance(exc, exceptions.Throttled):
        return problem(429, "throttled", _throttled(getattr(exc, "wait", None)))
    if isinstance(exc, exceptions.APIException):
        codes = exc.get_codes()
        code = codes if isinstance(codes, str) else "invalid"
        return problem(exc.status_code, code, str(exc.detail))
    if isinstance(exc, TookTooLong):
        log.error("given up after the time it may take, at %s", path_shown(request))
        return problem(503, "took_too_long", _(
            "This took too long and was given up. Try again later, or with fewer readings at once. "
            "Nothing was changed."
        ))  # fmt: skip
    if is_outage(exc):
        log.error("the database or the disk refused at %s", path_shown(request), exc_info=exc)
        return problem(
            503, "not_stored", _("The registry can't store anything right now. Nothing was changed.")
        )
    log.exception("unexpected error at %s", path_shown(request), exc_info=exc)
    return problem(500, "unexpected", _("Something went wrong on our side. Nothing was changed."))


def _refused(sentence: str, request: Request) -> Plain:
    """401 where signing in could help, else 403 with the sentence of the rule."""
    if request.successful_authenticator is None:
        return problem(401, "not_authenticated", sentence or _("Send a token, or sign in."))
    return problem(403, "permission_denied", sentence or _("This account may not do this."))


def _throttled(wait: float | None) -> str:
    if not wait:
        return _("Too many requests.")
    return _("Too many requests. Try again in {n} seconds.").format(n=math.ceil(wait))


def _flat(detail: Any, at: tuple[str | int, ...]) -> list[RegistryError]:
    """The framework's nested lists and dictionaries of messages, each at its pointer."""
    if isinstance(detail, dict):
        return [e for name, inner in detail.items() for e in _flat(inner, _under(at, str(name)))]
    if isinstance(detail, list):
        if all(isinstance(inner, str) for inner in detail):
            return [_plain_error(inner, at) for inner in detail]
        return [e for n, inner in enumerate(detail) for e in _flat(inner, (*at, n))]
    return [_plain_error(detail, at)]


def _under(at: tuple[str | int, ...], name: str) -> tuple[str | int, ...]:
    return at if name == "non_field_errors" else (*at, name)


def _plain_error(detail: Any, at: tuple[str | int, ...]) -> RegistryError:
    return RegistryError(getattr(detail, "code", "invalid"), str(detail), field=pointer(*at))
