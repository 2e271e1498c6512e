"""Sentences in the reader's language where Django runs, in English where a command runs without it.

The commands that work on files alone must start without settings and without a database, so this module
asks whether Django has been set up instead of importing it.
"""

from __future__ import annotations

import sys


def _django_runs() -> bool:
    conf = sys.modules.get("django.conf")
    return conf is not None and bool(conf.settings.configured)


def gettext(text: str) -> str:
    """`text` in the active language; unchanged where Django isn't set up."""
    if not _django_runs():
        return text
    from django.utils.translation import gettext as translate

    return str(translate(text))


def decimal(figure: str) -> str:
    """A figure with the decimal mark of the active language; with a point where Django isn't set up."""
    if not _django_runs():
        return figure
    from django.utils.formats import get_format

    return figure.replace(".", str(get_format("DECIMAL_SEPARATOR")))


def ngettext(singular: str, plural: str, number: int) -> str:
    """The form of the sentence that goes with `number`."""
    if not _django_runs():
        return singular if number == 1 else plural
    from django.utils.translation import ngettext as translate

    return str(translate(singular, plural, number))
