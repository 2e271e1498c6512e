"""Standard output for results, standard error for everything else."""

from __future__ import annotations

import logging
import sys
from collections.abc import Iterable
from typing import Any

from registry.errors import RegistryErrors
from registry.formats.json_text import json_text
from registry.log_lines import JsonLines
from registry.translation import gettext as _
from registry.translation import ngettext

MOST_ERRORS = 200  # printed; the rest is counted
_lines = False


def warn(text: str, error: Exception | None = None) -> None:
    """error: told in full where lines are read by a machine."""
    if not _lines:
        print(f"benchquorum: {text}", file=sys.stderr)
        return
    told: dict[str, Any] = {"name": "benchquorum", "levelname": "ERROR", "msg": text}
    if error is not None:
        told["exc_info"] = (type(error), error, error.__traceback__)
    print(JsonLines().format(logging.makeLogRecord(told)), file=sys.stderr)


def warn_in_lines(wanted: bool) -> None:
    """Whether warnings have the form of the log, as of commands that run for ever or by a clock."""
    global _lines
    _lines = wanted


def say_warnings(warnings: Iterable[str]) -> None:
    for text in warnings:
        warn(_("warning: {text}").format(text=text))


def say_errors(errors: RegistryErrors) -> None:
    """A line an error: where, what, what to do; at most `MOST_ERRORS` of them."""
    shown = errors.errors[:MOST_ERRORS]
    for error in shown:
        where = ""
        if error.line is not None:
            where = _("line {line}").format(line=error.line)
            if error.column is not None:
                where += _(", column {column}").format(column=error.column)
            where += ": "
        warn(f"{where}{error.message} {error.advice}".rstrip())
    rest = errors.total - len(shown)
    if rest:
        warn(ngettext("and {count} error more", "and {count} errors more", rest).format(count=rest))


def print_pieces(pieces: Iterable[str]) -> None:
    """One line of JSON that comes in pieces, in UTF-8, whatever the terminal's encoding."""
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(encoding="utf-8")
    sys.stdout.writelines(pieces)
    sys.stdout.write("\n")


def print_json(document: dict[str, Any]) -> None:
    """One line of JSON in UTF-8."""
    print_pieces([json_text(document)])


def print_text(lines: Iterable[str]) -> None:
    """Lines of text; a character that the terminal can't show becomes a question mark."""
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")
    for line in lines:
        sys.stdout.write(line + "\n")


class ProgressLine:
    """One line on standard error that is written over; only where that is a terminal."""

    def __init__(self, what: str) -> None:
        self._what, self._shown = what, -1
        self._active = sys.stderr.isatty()

    def __call__(self, share: float) -> None:
        percent = int(share * 100)
        if self._active and percent != self._shown:
            self._shown = percent
            sys.stderr.write(f"\r{self._what} {percent:3d} %")
            sys.stderr.flush()

    def of(self, done: int, total: int) -> None:
        self(done / total if total else 1.0)

    def close(self) -> None:
        if self._active and self._shown >= 0:
            sys.stderr.write("\r" + " " * (len(self._what) + 6) + "\r")
            sys.stderr.flush()
