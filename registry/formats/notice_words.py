"""The sentence of a notice, from its code and parameters; every code has one (a test holds this)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from registry.formats.decision_words import kind_words
from registry.translation import gettext as _
from registry.translation import ngettext

Params = Mapping[str, Any]


def notice_sentence(code: str, params: Params) -> str:
    return SENTENCES[code](params)


def _sheet_disputed(params: Params) -> str:
    return _("A sheet of yours ({design}) is disputed: {reason} You can answer until {until}.").format(
        **params
    )


def _proposed(params: Params) -> str:
    text = _("A moderator proposes for a sheet of yours: {what}. Reason: {reason}").format(
        what=kind_words(params["kind"]), reason=params["reason"]
    )
    if params.get("until"):
        text += " " + _("You can answer until {until}.").format(until=params["until"])
    return text


def _in_force(params: Params) -> str:
    return _("Decided for a sheet of yours: {what}. Reason: {reason} What you typed stays.").format(
        what=kind_words(params["kind"]), reason=params["reason"]
    )


def _undone(params: Params) -> str:
    return _("Taken back for a sheet of yours: {what}.").format(what=kind_words(params["kind"]))


def _reread_asked(params: Params) -> str:
    return _("Please read a unit of {design} again by {deadline}: {reason}").format(**params)


def _reread_due(params: Params) -> str:
    return _("You were asked to read a unit of {design} again by {deadline}.").format(**params)


def _answered(params: Params) -> str:
    return _("Somebody wrote in a dispute that you take part in.")


def _settled(params: Params) -> str:
    return _("Your dispute is settled: {what}. Reason: {reason}").format(
        what=kind_words(params["kind"]), reason=params["reason"]
    )


def _changed(params: Params) -> str:
    if params.get("first"):
        return _("There is a pattern of {name} now, revision {number}.").format(**params)
    cells = [cell for cell in params["cells"] if cell["what"] in ("state", "figure")]
    count = len(cells) + int(params.get("more", 0))
    if not count:
        return _("The variants of {name} changed, revision {number}.").format(**params)
    first = cells[0]
    where = _("pin {pin} in {position}").format(pin=first["pin"], position=first["position"])
    return ngettext(
        "The pattern of {name} changed beyond its tolerance: {where}. Revision {number}.",
        "The pattern of {name} changed beyond its tolerance in {count} places, first {where}. "
        "Revision {number}.",
        count,
    ).format(name=params["name"], number=params["number"], where=where, count=count)


def _withdrawn(params: Params) -> str:
    return _("Revision {number} of {name} was withdrawn: {reason} Don't go by it any more.").format(**params)


def _suspended(params: Params) -> str:
    return _("Your account is suspended: {reason} You can appeal on your own page.").format(**params)


def _back(params: Params) -> str:
    return _("Your account is no longer suspended.")


def _role_proposed(params: Params) -> str:
    text = _("A moderator proposes about your account: {what}. Reason: {reason}").format(
        what=kind_words(params["kind"]), reason=params["reason"]
    )
    if params.get("until"):
        text += " " + _("It takes effect on {until} unless another moderator refuses.").format(
            until=params["until"]
        )
    return text


def _moderating_ended(params: Params) -> str:
    return _("You are no longer a moderator: {reason}").format(**params)


def _invitation_waits(params: Params) -> str:
    return _("An invitation to moderate waits for another moderator to agree: see the desk.")


SENTENCES: dict[str, Callable[[Params], str]] = {
    "sheet_disputed": _sheet_disputed,
    "decision_proposed": _proposed,
    "decision_in_force": _in_force,
    "decision_undone": _undone,
    "reread_asked": _reread_asked,
    "reread_due": _reread_due,
    "dispute_answered": _answered,
    "dispute_settled": _settled,
    "chart_changed": _changed,
    "revision_withdrawn": _withdrawn,
    "account_suspended": _suspended,
    "account_back": _back,
    "role_proposed": _role_proposed,
    "moderating_ended": _moderating_ended,
    "invitation_waits": _invitation_waits,
}
