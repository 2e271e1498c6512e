"""Sentences about facts: what most people found, how sure it is, and what the next job may need."""

from __future__ import annotations

from typing import Any

from registry.formats.figures import share_text
from registry.formats.figures import short_text as number_text
from registry.translation import gettext as _
from registry.translation import ngettext

Plain = dict[str, Any]


def choice_says(agreement: Plain) -> str:
    """“9 of 10 voices; the true share is between 55 % and 100 %.”"""
    low, high = agreement["agreement"]
    counted = ngettext("{agreeing} of {voices} voice", "{agreeing} of {voices} voices", agreement["voices"])
    return _("{counted}; the true share lies between {low} and {high}.").format(
        counted=counted.format(agreeing=agreement["agreeing"], voices=agreement["voices"]),
        low=share_text(low),
        high=share_text(high),
    )


def quantity_words(agreement: Plain, unit: str) -> str:
    """“about 0.35 L”"""
    if agreement["typical"] is None:
        return ""
    return _("about {figure} {unit}").format(figure=number_text(agreement["typical"]), unit=unit)


def quantity_says(agreement: Plain, unit: str) -> str:
    """“7 voices; the next job takes between 25 and 80 min, in 95 of 100 workshops.”"""
    voices = ngettext("{n} voice", "{n} voices", agreement["voices"]).format(n=agreement["voices"])
    if agreement["accept"] is None:
        return _("{voices}: too few to say how far it varies.").format(voices=voices)
    low, high = agreement["accept"]
    return _("{voices}; be ready for {low} to {high} {unit}.").format(
        voices=voices, low=number_text(low), high=number_text(high), unit=unit
    )
