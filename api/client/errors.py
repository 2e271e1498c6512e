"""What the registry refused, as an exception with all its faults."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: a code, where (JSON Pointer), why, what to do."""

    code: str
    pointer: str
    detail: str
    advice: str


class RegistryUnreachable(ConnectionError):
    """Nobody answered, however often it was tried: nothing was read, and maybe nothing was sent."""


class RegistryProblem(Exception):
    """A problem document (RFC 9457)."""

    def __init__(self, body: dict[str, Any]) -> None:
        self.status = int(body.get("status", 0))
        self.code = str(body.get("code", "unexpected"))
        self.detail = str(body.get("detail", ""))
        self.faults = tuple(
            Fault(
                str(one.get("code", "")),
                str(one.get("pointer", "")),
                str(one.get("detail", "")),
                str(one.get("advice", "")),
            )
            for one in body.get("errors", [])
        )
        super().__init__(f"{self.status} {self.detail}")
