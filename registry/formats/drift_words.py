"""Sentences on drift: whether wear shows, and at which reading a unit is worth replacing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.formats.figures import interval_text, ohm_text, share_text
from registry.formats.life_words import far_text
from registry.translation import decimal, ngettext
from registry.translation import gettext as _

Plain = Mapping[str, Any]


def drift_messages(drift: Plain, unit: str = "km") -> list[str]:
    """One sentence on the trend, one on the level."""
    return [_trend(drift["trend"], unit), _level(drift["replace"], unit)]


def _trend(trend: Plain, unit: str) -> str:
    units = ngettext("{count} unit", "{count} units", trend["units"]).format(count=trend["units"])
    if trend["reason"] == "too_few":
        return _(
            "{units} with readings of closed contacts and a distance: too few for a trend. Ten are needed."
        ).format(units=units)
    if trend["reason"]:
        return _("All readings are of one distance: no trend can be seen.")
    change = _("{change} in each {far}").format(
        change=_per_cent(trend["factor"]), far=far_text(trend["per_km"], unit)
    )
    low = _("not bounded") if trend["low"] is None else _per_cent(trend["low"])
    high = _("not bounded") if trend["high"] is None else _per_cent(trend["high"])
    ends = _("95 %: {low} to {high}").format(low=low, high=high)
    if trend["shows"] == "grows":
        return _("Wear shows: closed contacts of {units} read {change} ({ends}).").format(
            units=units, change=change, ends=ends
        )
    if trend["shows"] == "falls":
        return _("Closed contacts of {units} read less with distance: {change} ({ends}).").format(
            units=units, change=change, ends=ends
        )
    return _("No wear is seen in the closed contacts of {units}: {change} ({ends}).").format(
        units=units, change=change, ends=ends
    )


def _per_cent(factor: float) -> str:
    """ "+8 %": how much more each step is than the one before."""
    change = (factor - 1) * 100
    return decimal(f"{change:+.0f} %" if abs(change) >= 10 else f"{change:+.1f} %").replace("-", "−")


def _level(level: Plain, unit: str) -> str:
    far = far_text(level["within_km"], unit)
    if level["reason"] == "too_few":
        return _(
            "At which reading a unit is worth replacing is not known: of {units} units read it is known "
            "whether they failed within {far} after, {failed} did. Three that did and three that didn't are "
            "needed, ten in all."
        ).format(units=level["units"], far=far, failed=level["failed_soon"])
    if level["reason"] == "not_seen":
        return _(
            "Readings do not announce a failure: the {failed} units that failed within {far} after a reading "
            "did not read clearly higher than the {others} that did not."
        ).format(failed=level["failed_soon"], far=far, others=level["units"] - level["failed_soon"])
    return _(
        "Worth replacing from about {ohm} in the worst closed contact: of {count} units that read as much, "
        "{failed} failed within {far} ({share}; 95 %: {ends})."
    ).format(
        ohm=ohm_text(level["ohm"]),
        count=level["at_least"],
        failed=level["failed"],
        far=far,
        share=share_text(level["failed"] / level["at_least"]),
        ends=interval_text((level["low"], level["high"])),
    )
