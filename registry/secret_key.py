"""The key that signs sessions and links."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path
from tempfile import NamedTemporaryFile

from django.core.exceptions import ImproperlyConfigured


def secret_key(folder: Path, *, needed: bool) -> str:
    """From the environment; else the one of the data folder, made there unless it is needed from outside.

    Raises ImproperlyConfigured where a registry that others reach has none.
    """
    key = os.environ.get("BENCHQUORUM_SECRET_KEY", "")
    if key:
        return key
    kept = folder / "secret_key"
    if needed:
        known = f" The one in {kept} goes on, if it is given." if kept.exists() else ""
        raise ImproperlyConfigured(f"A registry that others reach needs BENCHQUORUM_SECRET_KEY.{known}")
    if not kept.exists():
        folder.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile("w", dir=folder) as made:  # which nobody else may read
            made.write(secrets.token_urlsafe(50))
            made.flush()
            with suppress(FileExistsError):  # of two processes that start at once both take the first one's
                os.link(made.name, kept)
    return kept.read_text()
