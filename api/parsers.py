"""JSON as it comes in from strangers: strict UTF-8, bounded depth, nothing that a database can't hold."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from api.problems import Failure
from registry.body_sizes import largest_body
from registry.translation import gettext as _

DEEPEST = 20
LONGEST_FIGURE = 400  # digits of one number; the largest float has 309


class StrictJSON(BaseParser):
    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        request = (parser_context or {}).get("request")
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE if request is None else largest_body(request._request)
        raw = stream.read(limit + 1)
        if len(raw) > limit:
            raise Failure(413, "too_large", _("This is too large to be taken in one go. Send it in parts."))
        if request is not None:
            request.body_digest = hashlib.sha256(raw).hexdigest()  # what an Idempotency-Key stands for
        return read_json(raw)


def read_json(raw: bytes) -> Any:
    """The value, or ParseError with a sentence: no NaN, no lone surrogates, no NUL, no endless nesting."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ParseError(_("This is not UTF-8 (byte {n}).").format(n=error.start)) from None
    try:
        value = json.loads(text, parse_constant=_no_constant, parse_int=_whole, parse_float=_figure)
    except RecursionError:
        raise ParseError(_("This is nested too deeply.")) from None
    except json.JSONDecodeError as error:
        raise ParseError(
            _("This is not JSON: {what} at line {line}, column {column}.").format(
                what=error.msg, line=error.lineno, column=error.colno
            )
        ) from None
    _inspect(value, DEEPEST)
    return value


def _no_constant(name: str) -> Any:
    raise ParseError(_("“{name}” is not JSON.").format(name=name))


def _whole(digits: str) -> int:
    if len(digits) > LONGEST_FIGURE:
        raise ParseError(_("There is a number here with {n} digits.").format(n=len(digits)))
    return int(digits)


def _figure(digits: str) -> float:
    value = float(digits) if len(digits) <= LONGEST_FIGURE else math.inf
    if math.isinf(value):
        raise ParseError(_("“{digits}” is too large a number.").format(digits=digits[:20]))
    return value


def _inspect(value: Any, depth: int) -> None:
    if isinstance(value, str):
        if not sound_text(value):
            raise ParseError(_("There are characters here that can't be stored."))
    elif isinstance(value, dict | list):
        if depth == 0:
            raise ParseError(_("This is nested too deeply."))
        if isinstance(value, dict):
            for name in value:
                _inspect(name, 1)
        for inner in value.values() if isinstance(value, dict) else value:
            _inspect(inner, depth - 1)


def sound_text(text: str) -> bool:
    """Neither NUL nor half of a surrogate pair: no database and no encoder takes those."""
    if text.isascii():
        return "\0" not in text
    return "\0" not in text and not any("\ud800" <= sign <= "\udfff" for sign in text)
