"""What is said at each step, read field by field: codes and figures for good, free words apart.

Each reader gives (data, private): what stays for ever, and what is emptied with the account.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from registry.models.jobs import JobStep
from registry.services.fields import Fields
from registry.translation import gettext as _

Plain = dict[str, Any]
FARTHEST_KM = 1e7
LONGEST_NOTE = 2000

# The checks before pulling it, with as many results as each has there.
RULED_OUT_CHECKS = {
    "battery": 2,
    "neutral": 3,
    "adjustment": 2,
    "display": 3,
    "connector": 2,
    "lockout": 2,
    "feed": 2,
    "at_connector": 3,
}
PREPARED = ("part", "seal", "fluid", "tools", "pictures", "procedure")
OLD_UNIT_SINCE = ("vehicle", "fitted_at", "unknown")


@dataclass(frozen=True)
class Said:
    data: Plain
    private: Plain


def read_step(step: str, body: Any) -> Said:
    """What was said at a step that takes no sheet; RegistryErrors names every fault."""
    fields = Fields({} if body is None else body)
    said = READERS[step](fields)
    note = fields.text("note", longest=LONGEST_NOTE, lines=True)
    fields.raise_all()
    return Said(said, {"note": note})


def read_skip(body: Any) -> str:
    fields = Fields(body)
    reason = fields.text("reason", longest=300, needed=True)
    fields.raise_all()
    return reason


def _ruled_out(fields: Fields) -> Plain:
    checks = fields.inside("checks")
    for name in checks.body:
        if name not in RULED_OUT_CHECKS:
            checks.wrong(
                name,
                "word_unknown",
                _("“{value}” is not known here.").format(value=str(name)[:40]),
                _("Choose one of: {words}.").format(words=", ".join(RULED_OUT_CHECKS)),
            )
    found = {
        name: checks.whole(name, 0, low=0, high=results - 1)
        for name, results in RULED_OUT_CHECKS.items()
        if checks.body.get(name) not in (None, "")
    }
    return {"checks": found}


def _prepared(fields: Fields) -> Plain:
    ready = fields.body.get("ready") or []
    if not isinstance(ready, list) or not set(map(str, ready)) <= set(PREPARED):
        fields.wrong(
            "ready",
            "word_unknown",
            _("This is not on the list."),
            _("Choose of: {words}.").format(words=", ".join(PREPARED)),
        )
        return {}
    return {"ready": [word for word in PREPARED if word in ready]}


def _removed(fields: Fields) -> Plain:
    since = fields.one_of("old_unit_since", OLD_UNIT_SINCE, "unknown")
    distance = fields.number("distance_km", None, high=FARTHEST_KM)
    fitted_at = fields.number("fitted_at_km", None, high=FARTHEST_KM) if since == "fitted_at" else None
    if since == "fitted_at" and fitted_at is None:
        fields.wrong(
            "fitted_at_km",
            "value_missing",
            _("This is empty."),
            _("Say at which distance of the vehicle it was fitted, or that it isn't known."),
        )
    if fitted_at is not None and distance is not None and fitted_at > distance:
        fields.wrong(
            "fitted_at_km",
            "out_of_range",
            _("It can't have been fitted at a distance that the vehicle hasn't reached."),
        )
    return {"distance_km": distance, "on": _day(fields), "old_unit_since": since, "fitted_at_km": fitted_at}


def _fitted(fields: Fields) -> Plain:
    return {"distance_km": fields.number("distance_km", None, high=FARTHEST_KM), "on": _day(fields)}


def _day(fields: Fields) -> str | None:
    day = fields.day("on")
    return None if day is None else day.isoformat()


READERS: dict[str, Callable[[Fields], Plain]] = {
    JobStep.RULED_OUT: _ruled_out,
    JobStep.PREPARED: _prepared,
    JobStep.REMOVED: _removed,
    JobStep.FITTED: _fitted,
}


def old_unit_km(removed: Plain) -> float | None:
    """The distance on the old unit, from what was said when it came out."""
    distance = removed.get("distance_km")
    if distance is None or removed.get("old_unit_since") == "unknown":
        return None
    return float(distance) - float(removed.get("fitted_at_km") or 0.0)
