"""The chart as a line code, in sentences: what a fault makes the controller see, and what that does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from registry.formats.causes import fault_clause
from registry.formats.figures import listed, pins_text
from registry.translation import gettext as _
from registry.translation import ngettext

Plain = Mapping[str, Any]


def effect_message(effect: Plain, common: str | None = None) -> str:
    """One sentence on a single fault of the unit (an object of `effects`).

    >>> effect_message({"cause": "line_open", "pins": ["4"], "positions": [], "noticed": ["P"],
    ...     "passes": [{"position": "R", "reads_as": "N", "danger": True}], "start_lost": ["P"]})
    'Pin 4 never closes: P reads as no position, so the starter stays locked there; R reads as N.'
    """
    clause = fault_clause({**effect, "params": {"detail": effect.get("detail", "")}}, common)
    return f"{clause[:1].upper()}{clause[1:]}: {_seen(effect)}."


def effect_alone(effect: Plain) -> str:
    """What the controller makes of a fault that has just been named."""
    seen = _seen(effect)
    return f"{seen[:1].upper()}{seen[1:]}."


def _seen(effect: Plain) -> str:
    parts = [part for part in (_noticed(effect), *_passes(effect)) if part]
    return "; ".join(parts) if parts else _("the controller sees nothing of it")


def _noticed(effect: Plain) -> str:
    noticed, lost = list(effect["noticed"]), [p for p in effect["start_lost"] if p in effect["noticed"]]
    if not noticed:
        return ""
    text = ngettext("{positions} reads as no position", "{positions} read as no position", len(noticed))
    text = text.format(positions=listed(noticed))
    if lost and lost == noticed:
        return _("{reads}, so the starter stays locked there").format(reads=text)
    if lost:
        return _("{reads}, so the starter stays locked in {positions}").format(
            reads=text, positions=listed(lost)
        )
    return text


def _passes(effect: Plain) -> list[str]:
    return [
        _("{position} reads as {other}").format(position=one["position"], other=one["reads_as"])
        for one in effect["passes"]
    ]


def code_messages(code: Plain) -> list[str]:
    """What the pattern is able to show by itself: distance, steps, parity."""
    least = int(code["least_distance"])
    found = [
        {
            0: _("Two positions read the same: the controller can't tell them apart."),
            1: _("One line in error can pass for another position."),
        }.get(least, _("One line in error is always noticed: it gives no valid position."))
    ]
    if code["one_line_steps"]:
        found.append(_("From one position to the next exactly one line changes."))
    for parity in code["parity"]:
        lines = pins_text(parity["lines"])
        text = (
            _("In every position an odd number of {pins} is closed.")
            if parity["odd"]
            else _("In every position an even number of {pins} is closed.")
        )
        found.append(text.format(pins=lines))
    if not code["start_known"]:
        found.append(
            _("Which positions release the starter was not stated; {positions} are assumed.").format(
                positions=listed(list(code["start_positions"]))
            )
        )
    return found


def dangerous(effects: Sequence[Plain]) -> list[Plain]:
    """Faults that could release the starter out of a start position."""
    return [effect for effect in effects if effect["danger"]]
