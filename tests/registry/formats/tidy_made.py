"""Tidy files in bytes, and how one is refused."""

from __future__ import annotations

import pytest

from registry.errors import RegistryErrors
from registry.formats.tidy_reader import read_tidy

HEADER = "design,submission,unit,contributor,step,position,pin,against,reading"


def tidy(*rows: str, header: str = HEADER) -> bytes:
    return "\n".join([header, *rows, ""]).encode()


def refused(data: bytes) -> list[tuple[int | None, str | None, str]]:
    with pytest.raises(RegistryErrors) as raised:
        read_tidy(data)
    for error in raised.value:
        assert error.message and error.advice, error.code
    return [(error.line, error.column, error.code) for error in raised.value]
