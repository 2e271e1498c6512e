"""Names and labels: of designs, sheets, units, people, pins and positions."""

from __future__ import annotations

import re

from registry.errors import RegistryError
from registry.translation import gettext as _

LONGEST_NAME = 200
LONGEST_LABEL = 40

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
# Nothing is drawn for them, or all that follows is turned round: two pins that look alike would not be.
_HIDDEN = re.compile(
    "[\u00ad\u061c\u115f\u1160\u17b4\u17b5\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\u3164\ufeff\uffa0]"
)
_JOINERS = re.compile("[\u200c\u200d]")  # belong to words of some scripts
_SURROGATE = re.compile(r"[\ud800-\udfff]")
# A spreadsheet runs what begins with = or @, and sums and calls behind + or -; a lone + or - is a position.
_FORMULA = re.compile(r"[=@＝＠]|[+＋－-].*[-+*/^&|!()=@,;:<>\"']", re.DOTALL)
_DIGITS = re.compile(r"([0-9]+)")


def is_shown(text: str) -> bool:
    """Whether every character can be shown, on one line."""
    return not (_CONTROL.search(text) or _SURROGATE.search(text))


def is_hidden(text: str) -> bool:
    """Whether there are signs in a name that nobody sees.

    >>> is_hidden("1"), is_hidden("1\u200b"), is_hidden("1\u200d"), is_hidden("\u202e3-X")
    (False, True, True, True)
    """
    return bool(_HIDDEN.search(text) or (_JOINERS.search(text) and _JOINERS.sub("", text).isascii()))


def is_formula(text: str) -> bool:
    """Whether a spreadsheet would run it.

    >>> is_formula("=1+1"), is_formula("-2"), is_formula("＠SUM(A1)")
    (True, False, True)
    """
    return _FORMULA.match(text) is not None


def parse_name(text: str, longest: int = LONGEST_NAME) -> str:
    """A design, submission, unit or contributor: text of one line that no spreadsheet takes for a formula.

    >>> parse_name(" Sweeper 3, left bench ")
    'Sweeper 3, left bench'
    """
    name = text.strip()
    if not name:
        raise RegistryError("value_missing", _("It is empty."), _("Fill it in."))
    if len(name) > longest:
        message = _("“{start}…” has {length} characters.").format(start=name[:20], length=len(name))
        raise RegistryError("name_too_long", message, _("Write at most {longest}.").format(longest=longest))
    if not is_shown(name):
        message = _("{text} has characters that can't be shown.").format(text=ascii(name[:40]))
        raise RegistryError("name_control", message, _("Write plain text."))
    if is_formula(name):
        message = _("“{text}” is what a spreadsheet takes for a formula.").format(text=name[:40])
        raise RegistryError(
            "name_formula", message, _("Write the name itself, beginning with a letter or a figure.")
        )
    return name


def parse_label(text: str) -> str:
    """A pin or a position, as on the connector or the lever: a short name."""
    return parse_name(text, LONGEST_LABEL)


def natural_key(label: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts labels as people do: figures by their value, then letters.

    >>> sorted(["10", "2", "B", "A1"], key=natural_key)
    ['2', '10', 'A1', 'B']
    """
    parts = [part for part in _DIGITS.split(label) if part]
    return tuple(
        (0, int(part), part) if _DIGITS.fullmatch(part) else (1, 0, part.casefold()) for part in parts
    )


def loose_key(text: str) -> str:
    """One key for a text however it is spaced and spelled in capitals.

    >>> loose_key("  Socket  25 ")
    'socket 25'
    """
    return " ".join(text.casefold().split())
