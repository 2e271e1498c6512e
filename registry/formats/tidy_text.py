"""From the bytes of a tidy file to lines of text: encodings, stray bytes, endless lines."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from registry.errors import RegistryError, RegistryErrors, pointer
from registry.translation import gettext as _

LONGEST_LINE = 100_000  # characters
Progress = Callable[[float], None]  # is told the share of the work that is done

_WIDE_MARKS = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff")
_BINARY_MARKS = {b"PK\x03\x04": "XLSX", b"\xd0\xcf\x11\xe0": "XLS", b"%PDF": "PDF", b"\x1f\x8b": "gzip"}


def read_bytes(path: Path) -> bytes:
    """The file, or a `RegistryErrors` that says why it can't be read."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        reason = _("There is no file {path}.")
    except IsADirectoryError:
        reason = _("{path} is a folder, not a file.")
    except PermissionError:
        reason = _("{path} may not be read by you.")
    except (OSError, ValueError):
        reason = _("{path} can't be read.")
    raise RegistryErrors([RegistryError("file_unreadable", reason.format(path=path), _("Check the name."))])


class TextLines:
    """Iterates over the lines of a file's bytes; collects what is wrong with them.

    bad: line number → error.  A line that can't be used is given as an empty one: line numbers stay right.
    """

    def __init__(self, data: bytes, progress: Progress | None = None) -> None:
        self.bad: dict[int, RegistryError] = {}
        self._size, self._progress = max(len(data), 1), progress
        self._raw = io.BytesIO(_checked(data))
        if b"\0" in data or not _is_utf8(data):
            self._find_stray_bytes(data)

    def _find_stray_bytes(self, data: bytes) -> None:
        for number, line in enumerate(re.split(rb"\r\n|\r|\n", data), 1):
            if b"\0" in line:
                self._refuse(
                    number, "byte_nul", _("The line has NUL bytes."), _("Save the file again as plain text.")
                )
            elif not _is_utf8(line):
                self._refuse(
                    number,
                    "encoding_wrong",
                    _("The line is not UTF-8."),
                    _("Save the file as CSV in UTF-8."),
                )

    def _refuse(self, number: int, code: str, message: str, advice: str) -> None:
        self.bad[number] = RegistryError(code, message, advice, field=pointer("lines", number), line=number)

    def __iter__(self) -> Iterator[str]:
        text = io.TextIOWrapper(self._raw, encoding="utf-8-sig", errors="replace", newline="")
        for number, line in enumerate(text, 1):
            if len(line) > LONGEST_LINE:
                self._refuse(
                    number,
                    "line_too_long",
                    _("The line has {length} characters.").format(length=len(line)),
                    _("One line holds one reading; look for a missing line break."),
                )
            yield "\n" if number in self.bad else line

    def raise_any(self) -> None:
        if self.bad:
            raise RegistryErrors([self.bad[number] for number in sorted(self.bad)])

    def tell_progress(self) -> None:
        if self._progress is not None:
            self._progress(min(self._raw.tell() / self._size, 1.0))


def _checked(data: bytes) -> bytes:
    """`data`, unless it is no text at all."""
    save = _("Save it as CSV in UTF-8.")
    for mark, name in _BINARY_MARKS.items():
        if data.startswith(mark):
            raise RegistryErrors(
                [RegistryError("file_binary", _("This is a {name} file.").format(name=name), save)]
            )
    if data.startswith(_WIDE_MARKS) or data[:400].count(b"\0") * 4 > len(data[:400]):
        raise RegistryErrors(
            [RegistryError("encoding_wrong", _("The file is UTF-16 or UTF-32, not UTF-8."), save)]
        )
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        raise RegistryErrors(
            [RegistryError("file_empty", _("The file is empty."), _("It needs a header row and readings."))]
        )
    return data


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
