"""Plain data as JSON of one line, as the commands print it."""

from __future__ import annotations

import json
from typing import Any

import numpy as np


def json_text(value: Any) -> str:
    """JSON without needless spaces; a number that is none (nan) is a mistake of ours.

    >>> json_text({"ohm": [0.4, None], "unit": "Ω"})
    '{"ohm":[0.4,null],"unit":"Ω"}'
    """
    return json.dumps(
        value, ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_plain_number
    )


def _plain_number(value: Any) -> int | float:
    """A number of an array as Python's own; anything else is a mistake of ours."""
    if isinstance(value, np.generic) and isinstance(number := value.item(), int | float):
        return number
    raise TypeError(f"{type(value).__name__} has no place in JSON.")
