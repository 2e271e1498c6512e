"""One error handler: problem details (RFC 9457)."""

from __future__ import annotations

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler


def problem_details(exc: Exception, context: dict[str, Any]) -> Response | None:
    return exception_handler(exc, context)
