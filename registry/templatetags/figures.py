"""Figures in templates, written as in sentences (`registry.formats.figures`)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.bridge.habits import Rate
from registry.formats.figures import (
    cell_text,
    distance_text,
    in_unit,
    ohm_text,
    rate_text,
    rates_text,
    share_text,
)
from registry.formats.life_words import far_text

register = template.Library()


@register.filter
def ohm(value: float | None) -> str:
    return "" if value is None else ohm_text(value)


@register.filter
def share(value: float | None) -> str:
    return "" if value is None else share_text(value)


@register.filter
def rate(found: Rate) -> str:
    """“5.1 % (2.2 % to 9.4 %)”."""
    return f"{rate_text(found.share)} ({rates_text(found.low, found.high)})"


@register.filter
def distance(km: float | None, unit: str = "km") -> str:
    """Kilometres in the reader's unit, which every page knows as `distance_unit`."""
    return "" if km is None else distance_text(km, unit)


@register.filter
def distance_said(km: float | None, unit: str = "km") -> str:
    """To three figures, for what is estimated."""
    return "" if km is None else far_text(km, unit)


@register.filter
def in_readers_unit(km: float | None, unit: str = "km") -> float | None:
    """The bare figure, for a field to be filled in."""
    return None if km is None else in_unit(km, unit)


@register.simple_tag
def of_units(agreeing: int, units: int) -> str:
    """“11 of 11 units”."""
    return ngettext("{agreeing} of {units} unit", "{agreeing} of {units} units", units).format(
        agreeing=agreeing, units=units
    )


@register.filter
def chance_words(p: float) -> str:
    """A probability in words, as a sentence needs it."""
    steps = (
        (0.99, _("almost certainly")),
        (0.9, _("very probably")),
        (0.7, _("probably")),
        (0.5, _("more likely than not")),
        (0.3, _("perhaps")),
        (0.1, _("probably not")),
    )
    return next((words for least, words in steps if p >= least), _("hardly"))


@register.filter
def place_name(cell: Mapping[str, Any], common: str | None = None) -> str:
    """“pin 4 in R”."""
    return cell_text(cell, common)


@register.filter
def finding_word(finding: str) -> str:
    """A finding in two or three words, for lists."""
    return {
        "fits": _("fits"),
        "slip": _("fits but for single readings"),
        "mirrored_pins": _("pins numbered from the other face"),
        "wrong_common": _("a lead on a line instead of the common"),
        "shifted_positions": _("positions off by one"),
        "exchanged": _("two neighbours exchanged"),
        "faulty_unit": _("one fault of the unit"),
        "other_variant": _("another variant"),
        "other_design": _("another design"),
        "coordinated": _("a group that stands alone"),
        "unexplained": _("not explained"),
    }.get(finding, finding or _("not compared yet"))
