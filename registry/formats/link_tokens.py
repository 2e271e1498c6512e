"""Private links: the token is shown once, and only its digest is kept."""

from __future__ import annotations

import hashlib


def link_digest(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()
