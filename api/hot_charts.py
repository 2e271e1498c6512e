"""The current chart for a guest, answered before sessions, languages and accounts are looked at.

It is the address that is read most of all, and none of those change what it says.  Whatever is out of the
ordinary (a token, a parameter, nothing there, no allowance left) goes the long way, to the same view.
"""

from __future__ import annotations

import re
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from api.chart_bytes import chart_response, current
from api.throttles import Spent, address_of, guest_key, policy_named, take

_ADDRESS = re.compile(r"/api/v1/charts/([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})/", re.ASCII)
_TAKEN = ("*/*", "application/json", "application/*")


def hot_answer(request: HttpRequest) -> HttpResponse | None:
    """The answer, or None for the long way."""
    asked = request.META
    if request.method not in ("GET", "HEAD") or asked.get("QUERY_STRING") or "HTTP_AUTHORIZATION" in asked:
        return None
    accept = asked.get("HTTP_ACCEPT", "*/*")
    if accept not in _TAKEN:
        return None
    found = _ADDRESS.fullmatch(request.path_info)
    made = current(UUID(found[1])) if found else None
    if made is None:
        return None
    try:
        allowance = take(policy_named("anon"), guest_key(address_of(request)))
    except Spent:
        return None
    response = chart_response(request, made)
    for name, value in allowance.headers().items():
        response[name] = value
    return response
