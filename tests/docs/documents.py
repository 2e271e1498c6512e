"""The project's words, as the tests of this folder read them."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
FENCE = re.compile(r"^```([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def blocks(name: str, info: str) -> list[str]:
    """The fenced blocks of a document with this word behind the fence."""
    return [body for kind, body in FENCE.findall(text_of(name)) if kind.strip() == info]


def paragraphs(name: str) -> dict[str, str]:
    """Code → what stands under its own heading (### `code`)."""
    parts = re.split(r"^### `(\w+)`$", text_of(name), flags=re.MULTILINE)
    return {
        code: re.split(r"^##", body, flags=re.MULTILINE)[0].strip()
        for code, body in zip(parts[1::2], parts[2::2], strict=True)
    }
