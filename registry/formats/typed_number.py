"""A number as people type it, with a point or a comma before its decimals."""

from __future__ import annotations

import re

from registry.errors import RegistryError
from registry.translation import gettext as _

AMBIGUOUS = "number_ambiguous"
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


def typed_number(text: str) -> float:
    """RegistryError where it is none, or where its comma may stand for thousands as well as for decimals.

    >>> typed_number("84000,5"), typed_number("0,125")
    (84000.5, 0.125)
    """
    plain = text.strip()
    if _GROUPED.fullmatch(plain):
        joined, figure = plain.replace(",", ""), f"{float(plain.replace(',', '.')):g}"
        message = _("“{text}”: {figure} or {joined}?").format(text=plain, figure=figure, joined=joined)
        advice = _("Write {figure} with a point, or {joined} without a mark.")
        raise RegistryError(AMBIGUOUS, message, advice.format(figure=figure, joined=joined))
    try:
        return float(plain.replace(",", "."))
    except ValueError:
        message = _("“{v}” is not a number.").format(v=text[:40])
        raise RegistryError("not_a_number", message) from None


def whole_typed(text: str, default: int = 0) -> int:
    """Of a form: digits that a database can hold, anything else is the default.

    >>> whole_typed("17"), whole_typed("²"), whole_typed("9" * 5000, 1)
    (17, 0, 1)
    """
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else default
