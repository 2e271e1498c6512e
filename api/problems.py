"""Problem details (RFC 9457): how every error of the API looks."""

from __future__ import annotations

import json
from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

from django.http import HttpResponse

from registry.errors import RegistryError
from registry.translation import gettext as _

CONTENT_TYPE = "application/problem+json"
Plain = dict[str, Any]

# Errors that stand for a state of the registry rather than for a fault of the body.
STATUS_OF_CODE = {
    "client_id_used": 409,
    "idempotency_key_used": 422,
    "version_stale": 409,
    "case_changed": 409,
    "dispute_open": 409,
    "dispute_closed": 409,
    "decided_already": 409,
    "job_closed": 409,
    "job_open": 409,
    "job_sent": 409,
    "step_open": 409,
    "nothing_to_send": 409,
    "no_unit": 409,
    "too_many_pictures": 409,
    "too_many_webhooks": 409,
    "design_exists": 409,
    "feed_not_there_yet": 409,
    "start_elsewhere": 409,
    "case_unknown": 404,
    "mirror_read_only": 403,
    "too_large": 413,
    "allowance_used": 429,
}


def problem(status: int, code: str, detail: str, *, errors: Iterable[Plain] = (), **more: Any) -> Plain:
    """The document: `type` and `code` are for programs, `detail` is a sentence for people."""
    return {
        "type": f"urn:benchquorum:problem:{code}",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "code": code,
        "detail": detail,
        "errors": list(errors),
        **more,
    }


class Failure(Exception):
    """A refusal that only the API knows: a status, a code and a sentence."""

    def __init__(self, status: int, code: str, detail: str, **more: Any) -> None:
        super().__init__(detail)
        self.body = problem(status, code, detail, **more)


def problem_response(body: Plain) -> HttpResponse:
    """Encoded here, not by a renderer: an error looks the same whatever the client had asked for."""
    text = json.dumps(body, ensure_ascii=True, separators=(",", ":"))
    return HttpResponse(text, status=body["status"], content_type=CONTENT_TYPE)


def fault(error: RegistryError) -> Plain:
    """One entry of `errors`: what, where (JSON Pointer into the body), why, and what to do."""
    return {
        "code": error.code,
        "pointer": error.field,
        "detail": error.message,
        "advice": error.advice,
    }


def problem_of_errors(errors: list[RegistryError], *, more: int = 0) -> Plain:
    """All that is wrong with one request, in one document."""
    first = errors[0]
    status = next((STATUS_OF_CODE[e.code] for e in errors if e.code in STATUS_OF_CODE), 400)
    code = first.code if len(errors) + more == 1 else "invalid"
    detail = first.message
    if len(errors) + more > 1:
        detail = _("{first} ({n} errors in all)").format(first=detail, n=len(errors) + more)
    return problem(status, code, detail, errors=[fault(e) for e in errors], more_errors=more)
