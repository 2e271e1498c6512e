"""From the bytes of a tidy file to lines of text: encodings, stray bytes, endless lines."""

from __future__ import annotations

import codecs
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from registry.errors import RegistryError, RegistryErrors, pointer, refusal
from registry.translation import gettext as _

LONGEST_LINE = 100_000  # characters
KEPT = 1000  # errors kept as objects; the rest are counted
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
    raise refusal("file_unreadable", reason.format(path=path), _("Check the name."))


class TidyText:
    """The lines of a file's bytes, and what is wrong with them.

    bad: line number → error; such a line is given as an empty one, so that line numbers stay right.
    plain: the bytes where nothing is wrong and no quote is in them, lines ended by `\n`; otherwise None.
    """

    def __init__(self, data: bytes, progress: Progress | None = None) -> None:
        self.bad: dict[int, RegistryError] = {}
        self._size, self._progress = max(len(data), 1), progress
        self._raw = io.BytesIO(_checked(data))
        self._decoder = io.TextIOWrapper(self._raw, encoding="utf-8-sig", errors="replace", newline="")
        self._has_long_lines = _longest_line(data) > LONGEST_LINE
        if b"\0" in data or not _is_utf8(data):
            self._find_stray_bytes(data)
        self.plain = None if self.bad or self._has_long_lines else _plain(data)

    def _find_stray_bytes(self, data: bytes) -> None:
        """Raises RegistryErrors where there is hardly a sound line: millions of errors help nobody."""
        more = 0
        for number, line in enumerate(re.split(rb"\r\n|\r|\n", data), 1):
            if len(self.bad) == KEPT:
                more += b"\0" in line or not _is_utf8(line)
                continue
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
        if more:
            raise RegistryErrors(self.bad.values(), more=more)

    def _refuse(self, number: int, code: str, message: str, advice: str) -> None:
        self.bad[number] = RegistryError(code, message, advice, field=pointer("lines", number), line=number)

    def lines(self) -> Iterator[str]:
        if self.bad or self._has_long_lines:
            return self._watched(self._decoder)
        return self._decoder

    def blocks(self, skip: int, size: int) -> Iterator[tuple[int, bytes]]:
        """`plain` in blocks of `size` lines: how many lines stand before it, and the block."""
        data = self.plain or b""
        ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n")) + 1
        for start in range(skip, len(ends), size):
            begin = ends[start - 1] if start else 0
            stop = ends[min(start + size, len(ends)) - 1]
            if self._progress is not None:
                self._progress(begin / self._size)
            yield start, data[begin:stop]

    def _watched(self, text: io.TextIOWrapper) -> Iterator[str]:
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
            raise refusal("file_binary", _("This is a {name} file.").format(name=name), save)
    if data.startswith(_WIDE_MARKS) or data[:400].count(b"\0") * 4 > len(data[:400]):
        raise refusal("encoding_wrong", _("The file is UTF-16 or UTF-32, not UTF-8."), save)
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        raise refusal("file_empty", _("The file is empty."), _("It needs a header row and readings."))
    return data


def _plain(data: bytes) -> bytes | None:
    data = data.removeprefix(codecs.BOM_UTF8)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
    if b'"' in data or b"\r" in data:
        return None
    return data if data.endswith(b"\n") else data + b"\n"


def _longest_line(data: bytes) -> int:
    """In bytes, at least as many as characters; without a loop over the lines."""
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    return int(np.diff(ends, prepend=-1, append=len(data)).max())


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
