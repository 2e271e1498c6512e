"""JSON documents of our own formats, read back from files; their schemas lie beside this module."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from registry.errors import refusal
from registry.formats.tidy_text import read_bytes
from registry.translation import gettext as _

AGREED, CHECK, IDENTIFY = "benchquorum/agreed/1", "benchquorum/check/1", "benchquorum/identify/1"
LIFE = "benchquorum/life/1"


def read_document(path: Path, expected: str) -> dict[str, Any]:
    """The document of the expected format in the file, or `RegistryErrors`."""
    advice = _("Give a file that “benchquorum {command} … --json” made.").format(
        command="agree" if expected == AGREED else expected.split("/")[1]
    )
    try:
        document = json.loads(read_bytes(path).decode("utf-8-sig"))
    except (ValueError, RecursionError):
        message = _("{path} is not JSON, or only a part of it.").format(path=path)
        raise refusal("document_not_json", message, advice) from None
    found = document.get("format") if isinstance(document, dict) else None
    if found != expected:
        message = _("{path} is not of the format {expected}.").format(path=path, expected=expected)
        raise refusal("document_format", message, advice, field="/format")
    return dict(document)


@cache
def schema(name: str) -> dict[str, Any]:
    """JSON Schema of an output: `agreed`, `check`, `identify`, `life`."""
    path = Path(__file__).parent / "schemas" / f"{name}.json"
    return dict(json.loads(path.read_text(encoding="utf-8")))
