"""What the desk says of a case, in a line; who somebody is, by pseudonym."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.formats.decision_words import held_words, kind_words
from registry.formats.figures import cell_text
from registry.formats.sentences import finding_message
from registry.models import Decision, User
from registry.selectors.queue import Case

KINDS = {
    "sheet": lambda: _("Sheet"),
    "dispute": lambda: _("Dispute"),
    "design": lambda: _("Proposed design"),
    "revision": lambda: _("Held revision"),
    "variant": lambda: _("Group of sheets"),
    "decision": lambda: _("Second voice"),
}


@dataclass(frozen=True)
class CaseLine:
    case: Case
    kind: str
    title: str
    says: str
    current: bool = False
    several: bool = False  # may be settled with others of its kind in one go


def case_line(case: Case, current: bool = False) -> CaseLine:
    mistake = case.params.get("body", {}).get("params", {}).get("mistake")
    return CaseLine(
        case=case,
        kind=KINDS[case.kind](),
        title=case.design.name if case.design is not None else _target_words(case.word),
        says=_says(case),
        current=current,
        several=case.kind == "sheet" and mistake not in (None, "unexplained"),
    )


def _says(case: Case) -> str:
    if case.kind == "sheet":
        return finding_message(case.params["body"])
    if case.kind == "dispute":
        cell = case.params["cell"]
        where = _("{place}: ").format(place=cell_text(cell)) if cell else ""
        return f"{where}{case.params['reason']}"
    if case.kind == "design":
        n = case.params["sheets"]
        return ngettext("{n} sheet so far.", "{n} sheets so far.", n).format(n=n)
    if case.kind == "revision":
        reasons = case.params["reasons"]
        more = len(reasons) - 1
        first = held_words(reasons[0])
        return first if not more else _("{first} And {n} more.").format(first=first, n=more)
    if case.kind == "variant":
        n = case.params["sheets"]
        return ngettext(
            "{n} sheet that stands against the rest.", "{n} sheets that agree against the rest.", n
        ).format(n=n)
    return _("{what}: needs another moderator.").format(what=kind_words(case.word))


def _target_words(word: str) -> str:
    return {
        "account": _("Appeal of an account"),
        "part_number": _("Part number"),
        "fact": _("Fact"),
    }.get(word, _("Registry"))


def who(user: User | None) -> str:
    """A moderator or contributor, by pseudonym: the desk shows no addresses."""
    if user is None:
        return _("somebody who has left")
    contributor = getattr(user, "contributor", None)
    return contributor.pseudonym if contributor is not None else _("moderator {n}").format(n=user.pk)


def decided_words(decision: Decision) -> str:
    """What happened to a decision just made, for the message on the next screen."""
    what = kind_words(decision.kind)
    if decision.state == Decision.State.IN_FORCE:
        return _("Decided: {what}. It is in force.").format(what=what)
    if decision.state == Decision.State.REFUSED:
        return _("Refused: {what}.").format(what=what)
    if decision.effective_at is None:
        return _("Proposed: {what}. Another moderator must agree.").format(what=what)
    day = decision.effective_at.date().isoformat()
    if decision.before.get("alone"):
        return _(
            "Proposed: {what}. There is no second moderator: it takes effect on {day} unless refused."
        ).format(what=what, day=day)
    if decision.needs_second and decision.approver_id is None:
        return _("Proposed: {what}. Another moderator must agree; not before {day}.").format(
            what=what, day=day
        )
    return _("Decided: {what}. The contributor can answer until {day}; then it takes effect.").format(
        what=what, day=day
    )
