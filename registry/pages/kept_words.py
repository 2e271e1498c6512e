"""The words of what a device keeps, in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext as _


def kept_words() -> dict[str, str]:
    return {
        "revision": _("Revision {n} of {when}."),
        "kept": _("Kept on this device on {when}."),
        "old": _("That is more than 30 days ago: this chart may have been replaced or withdrawn since."),
        "stale": _("Its evidence had changed already: a newer revision was on its way."),
        "newer": _("A newer revision is there: open the chart with a network to keep it."),
        "withdrawn": _("Withdrawn: {reason} Don't work from it."),
        "check": _("Check a unit"),
        "drop": _("Don't keep it any more"),
        "none": _("Nothing is kept yet. Open a chart and choose “Keep it for work without a network”."),
        "done": _("Kept. Chart and check open on this device without a network."),
        "failed": _("It could not be kept: this browser keeps nothing, or the network failed."),
        "keep": _("Keep it for work without a network"),
        "again": _("Keep it anew"),
    }
