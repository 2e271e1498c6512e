"""Sentences about service life, drift and classes: what was seen, how sure, what it can't say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.formats.figures import NARROW, in_unit, p_text, share_text
from registry.translation import gettext as _
from registry.translation import ngettext

Plain = Mapping[str, Any]


def far_text(km: float, unit: str = "km") -> str:
    """A distance to three figures, as people say it.

    >>> far_text(71834.2).replace(NARROW, " "), far_text(160.9344, "mi").replace(NARROW, " ")
    ('71 800 km', '100 mi')
    """
    rounded = float(f"{in_unit(km, unit):.3g}")
    return f"{rounded:,.0f}".replace(",", NARROW) + NARROW + unit


def selection_caution() -> str:
    return _(
        "Failed units are brought in more often than good ones: lives look shorter here than they are, "
        "unless a fleet reports all of its units."
    )


def class_text(source_class: str) -> str:
    return {
        "original": _("original parts"),
        "equivalent": _("equivalent parts"),
        "unknown": _("parts of unknown source"),
    }[source_class]


def counts_text(units: int, failures: int) -> str:
    return _("{units}, {failures}").format(
        units=ngettext("{count} unit", "{count} units", units).format(count=units),
        failures=ngettext("{count} failure", "{count} failures", failures).format(count=failures),
    )


def life_message(group: Plain, unit: str = "km") -> str:
    """One or two sentences on a group's figures."""
    counts = counts_text(group["units"], group["failures"])
    if group["reason"] == "too_few":
        return _("{counts}: too few to say more. Ten units and three failures are needed.").format(
            counts=counts
        )
    if group["b10_km"] is None:
        return _(
            "{counts}. All failed at one distance, or none was ever seen good: that gives no law of life."
        ).format(counts=counts)
    life = _("{counts}. One in ten has failed by {km}").format(
        counts=counts, km=far_text(group["b10_km"]["estimate"], unit)
    )
    return f"{life} ({_ends(group['b10_km'], unit)}). {_wear(group['weibull']['shape'])}"


def _ends(figure: Plain, unit: str) -> str:
    low, high = figure["low"], figure["high"]
    if low is None and high is None:
        return _("95 %: not bounded yet")
    if high is None:
        return _("95 %: at least {low}").format(low=far_text(low, unit))
    if low is None:
        return _("95 %: at most {high}").format(high=far_text(high, unit))
    return _("95 %: {low} to {high}").format(low=far_text(low, unit), high=far_text(high, unit))


def ends_text(figure: Plain, unit: str = "km") -> str:
    """ "95 %: 61 000 km to 80 000 km"; an end that is not bounded is said."""
    return _ends(figure, unit)


def _wear(shape: float) -> str:
    if shape > 1.2:
        return _("The older a unit, the likelier it fails soon.")
    if shape < 0.8:
        return _("Young units fail more readily than old ones.")
    return _("Old units fail hardly more readily than young ones.")


def comparison_message(found: Plain) -> str:
    first, second = (class_text(name) for name in found["classes"])
    if found["p"] >= 0.05:
        return _("{first} and {second}: no difference of lives is seen ({p}).").format(
            first=first.capitalize(), second=second, p=p_text(found["p"])
        )
    worse, better = (first, second) if found["first_fails_more"] else (second, first)
    return _("{worse} failed sooner than {better} here ({p}).").format(
        worse=worse.capitalize(), better=better, p=p_text(found["p"])
    )


def method_text(method: str) -> str:
    return {
        "log_rank": _("Log-rank test."),
        "log_rank_interval": _("Log-rank test for failures between two readings (Sun's scores)."),
        "weibull_ratio": _("Likelihood ratio of Weibull laws, since some units came used."),
    }[method]


def chance_message(chance: Plain, at_km: float, further_km: float, unit: str = "km") -> str:
    return _(
        "Of units still good at {at}, {share} fail within the next {further} (95 %: {low} to {high})."
    ).format(
        at=far_text(at_km, unit),
        share=share_text(chance["estimate"]),
        further=far_text(further_km, unit),
        low=share_text(chance["low"]),
        high=share_text(chance["high"]),
    )


def age_message(age: Plain, unit: str = "km") -> str:
    """What the costs say about replacing early."""
    if age["estimate"] is None:
        return _("At these costs replacing early never pays: run it to failure.")
    if age["high"] is None:
        return _(
            "The lowest cost is at {km}, but the figures leave it open whether replacing early pays at all "
            "({ends})."
        ).format(km=far_text(age["estimate"], unit), ends=_ends(age, unit))
    return _("The lowest cost is at {km} ({ends}).").format(
        km=far_text(age["estimate"], unit), ends=_ends(age, unit)
    )
