"""Errors with a code and advice, so that a caller can show them without parsing text."""

from __future__ import annotations


class ConsensusError(ValueError):
    """Input that the engine can't use.  code: stable word; advice: what to do about it."""

    def __init__(self, code: str, message: str, advice: str) -> None:
        super().__init__(code, message, advice)  # what it is made of again in another process
        self.code, self.message, self.advice = code, message, advice

    def __str__(self) -> str:
        return f"{self.message} {self.advice}"
