"""Writes name the version that they were made on: by If-Match, or by `on_version` in the body."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from rest_framework.request import Request

from api.problems import Failure
from registry.errors import refusal
from registry.models import Sheet
from registry.selectors.api_sheets import body_of, reading_plain, readings_as_typed
from registry.services.fields import Fields
from registry.translation import gettext as _

LARGEST = 2**31 - 1


def etag_of(sheet: Any) -> str:
    """Names the sheet, its version, and whether it counts; a new finding does not make an amendment stale."""
    withdrawn = ".w" if sheet.withdrawn_at is not None else ""
    return f'"{sheet.uuid}.{sheet.current[0].number}{withdrawn}"'


def match_required(request: Request, etag_now: Callable[[], str]) -> None:
    """412 where If-Match is sent and names another version; without it anything goes.

    Compression weakens a tag on its way out (`W/`).  It stands for a version, not for bytes: it is as good.
    """
    header = request.headers.get("If-Match")
    if header is None:
        return
    named = [tag.strip().removeprefix("W/") for tag in header.split(",")]
    if "*" not in named and etag_now() not in named:
        raise Failure(
            412,
            "version_stale",
            _("It isn't the version that you named any more; nothing was changed."),
        )


def version_named(request: Request, sheet: Sheet) -> int:
    """The version that the client saw; 412 where If-Match names another, 428 where nothing is named."""
    body = request.data if isinstance(request.data, dict) else {}
    if "If-Match" in request.headers:
        match_required(request, lambda: etag_of(sheet))
        current: int = sheet.current[0].number  # type: ignore[attr-defined]
        return current
    given = body.get("on_version")
    if given is None:
        raise Failure(
            428,
            "version_unnamed",
            _("Say which version you change: send its ETag as If-Match, or on_version."),
        )
    if isinstance(given, bool) or not isinstance(given, int) or not 1 <= given <= LARGEST:
        raise refusal("not_a_whole_number", _("This is not a version's number."), field="/on_version")
    return given


def body_to_amend(body: Any, sheet: Sheet, *, merge: bool) -> tuple[Any, str]:
    """The body of the new version, and the reason for it.  merge: JSON Merge Patch (RFC 7396), one level."""
    if not isinstance(body, dict):
        return body, ""
    sent = {name: value for name, value in body.items() if name not in ("on_version", "reason")}
    reason = reason_given(body)
    if merge:
        readings = readings_as_typed(sheet.current[0])  # type: ignore[attr-defined]
        before = body_of(sheet, [reading_plain(reading) for reading in readings])
        for name in ("unit", "meter"):
            if isinstance(sent.get(name), dict):
                sent[name] = {**before[name], **sent[name]}
        sent = {**before, **sent}
    return sent, reason


def reason_given(body: Any) -> str:
    """Why somebody changes something, in a line."""
    fields = Fields(body)
    reason = fields.text("reason", longest=300, needed=True)
    fields.raise_all()
    return reason
