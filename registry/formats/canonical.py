"""One text for one value, and its digest: what names charts, inputs and snapshots everywhere."""

from __future__ import annotations

import hashlib
import json
from typing import Any


def canonical(plain: Any) -> bytes:
    """One text for one value: sorted keys, no spaces, UTF-8.

    >>> canonical({"b": 1.0, "a": "Ω"}).decode()
    '{"a":"Ω","b":1.0}'
    """
    return json.dumps(
        plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode()


def digest_of(plain: Any) -> str:
    return hashlib.sha256(canonical(plain)).hexdigest()
