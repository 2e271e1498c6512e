"""The one shape of an error: a code for programs, a sentence and advice for people, a pointer.

Files, pages, API and commands all show these; `as_dict` is what goes into problem details (RFC 9457).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NoReturn


class RegistryError(Exception):
    """One thing that is wrong.

    code: stable word; field: JSON Pointer (RFC 6901) to what is wrong, "" for the whole input;
    message: what is wrong, a sentence; advice: what to do about it; line, column: where in a file;
    wait: seconds after which the same would be taken, where time alone helps.
    """

    def __init__(
        self,
        code: str,
        message: str,
        advice: str = "",
        *,
        field: str = "",
        line: int | None = None,
        column: str | None = None,
        wait: float | None = None,
    ) -> None:
        super().__init__(code, message, advice)  # what it is made of again in another process
        self.code, self.message, self.advice, self.field = code, message, advice, field
        self.line, self.column, self.wait = line, column, wait

    def __str__(self) -> str:
        return f"{self.message} {self.advice}".rstrip()

    def at(self, *, field: str, line: int | None = None, column: str | None = None) -> RegistryError:
        """The same error at a place: parsers of one value don't know where it stands."""
        words = (self.code, self.message, self.advice)
        return type(self)(*words, field=field, line=line, column=column, wait=self.wait)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready; `line` and `column` only for files."""
        plain: dict[str, Any] = {
            "code": self.code,
            "field": self.field,
            "message": self.message,
            "advice": self.advice,
        }
        if self.line is not None:
            plain["line"] = self.line
        if self.column is not None:
            plain["column"] = self.column
        return plain


class RegistryErrors(Exception):
    """All that is wrong with one input, in one go.  more: how many further errors are not listed."""

    def __init__(self, errors: Iterable[RegistryError], *, more: int = 0) -> None:
        self.errors = tuple(errors)
        self.more = more
        if not self.errors:
            raise ValueError("RegistryErrors needs at least one error.")
        super().__init__(self.errors)

    def __str__(self) -> str:
        return "\n".join(str(error) for error in self.errors)

    def __iter__(self) -> Iterator[RegistryError]:
        return iter(self.errors)

    @property
    def total(self) -> int:
        return len(self.errors) + self.more

    @property
    def wait(self) -> float | None:
        """Seconds until all that time helps against is over."""
        return max((error.wait for error in self.errors if error.wait is not None), default=None)

    def as_list(self) -> list[dict[str, Any]]:
        return [error.as_dict() for error in self.errors]


def refusal(
    code: str, message: str, advice: str = "", *, field: str = "", wait: float | None = None
) -> RegistryErrors:
    """One thing is wrong, to be raised."""
    return RegistryErrors([RegistryError(code, message, advice, field=field, wait=wait)])


def refuse(field: str, code: str, message: str, advice: str = "") -> NoReturn:
    """Raise the one thing that is wrong with a field of the input."""
    raise refusal(code, message, advice, field=field)


def pointer(*parts: str | int) -> str:
    """JSON Pointer of the parts (RFC 6901: `~` is written `~0`, `/` is written `~1`).

    >>> pointer("readings", 7, "a/b")
    '/readings/7/a~1b'
    """
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)
