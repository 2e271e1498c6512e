"""Words that people write, as they come from a page: looked at once, before they are stored.

A NUL is the end of a text for PostgreSQL, which refuses it: SQLite would keep it, and never move again.
"""

from __future__ import annotations

from registry.errors import refuse
from registry.formats.labels import is_shown
from registry.translation import gettext as _

_LINES = str.maketrans("", "", "\n\r\t\u2028\u2029")


def has_control(text: str, *, lines: bool = True) -> bool:
    """Whether there are characters that can't be shown.  lines: those that end one are none.

    >>> has_control("a\\nb"), has_control("a\\nb", lines=False), has_control("a\\0b")
    (False, True, True)
    """
    return not is_shown(text.translate(_LINES) if lines else text)


def words_of(text: str, field: str, *, longest: int | None = None) -> str:
    """The text without the blanks around it; RegistryErrors at `field` where it can't be kept."""
    text = text.strip()
    if has_control(text):
        refuse(field, "control_characters", _("There are characters here that can't be shown."))
    if longest is not None and len(text) > longest:
        refuse(
            field,
            "too_long",
            _("This has {n} characters.").format(n=len(text)),
            _("Write at most {longest}.").format(longest=longest),
        )
    return text
