"""What can be decided in a case, each with its key; the payload is made here, never taken from a page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.utils import timezone

from registry.bridge.corrections import suggested_correction
from registry.formats.decision_words import correction_words, kind_words
from registry.models import ChartRevision, Decision, Dispute, Target
from registry.models.catalogue import DesignState
from registry.translation import gettext as _
from registry.translation import ngettext

if TYPE_CHECKING:
    from registry.services.cases import CasePage

Kind = Decision.Kind
REREAD_DAYS = 21
START_OF_KEYS = "abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True)
class Act:
    """code: field value; key: on the keyboard; asks: what else must be said (design, deadline, variant)."""

    code: str
    key: str
    label: str
    kind: str
    payload: dict[str, Any] = field(default_factory=dict)
    asks: str = ""
    initial: str = ""


def acts_for(page: CasePage) -> list[Act]:
    """Empty where nothing can be decided any more."""
    if page.decision is not None:
        return _second(page)
    return MAKERS[page.kind](page)


def _sheet_acts(page: CasePage) -> list[Act]:
    if page.sheet is None or page.sheet.withdrawn_at is not None:
        return _settling(page)
    finding = page.finding
    acts = []
    correction = suggested_correction(finding.body) if finding else None
    if correction is not None:
        label = _("Correct: {what}").format(what=correction_words(correction))
        acts.append(Act("correct", "c", label, Kind.CORRECT, {"correction": correction}))
    word = finding.finding if finding else ""
    deadline = (timezone.localdate() + timedelta(days=REREAD_DAYS)).isoformat()
    return [
        *acts,
        Act("keep", "k", _("Keep it as it is"), Kind.KEEP, {"finding": word}),
        Act("set_aside", "s", _("Set it aside"), Kind.SET_ASIDE),
        Act("ask_reread", "r", _("Ask to read it again by"), Kind.ASK_REREAD, {}, "deadline", deadline),
        Act("move", "m", _("Move it to the design"), Kind.MOVE, {}, "design"),
    ]


def _settling(page: CasePage) -> list[Act]:
    if page.dispute is None or page.dispute.state != Dispute.State.OPEN:
        return []
    return [
        Act("upheld", "y", _("The dispute is right"), Kind.SETTLE_DISPUTE, {"outcome": "upheld"}),
        Act("not_upheld", "n", _("The dispute is not right"), Kind.SETTLE_DISPUTE, {"outcome": "not_upheld"}),
    ]


MOST_ANSWERS = 9  # offered by number


def _fact_acts(page: CasePage) -> list[Act]:
    """Each answer can be set aside by itself; the fact is then what the others say."""
    acts = []
    for n, answer in enumerate(page.answers[:MOST_ANSWERS], start=1):
        words = page.fact.question.choice_words(answer.answer) if page.fact and answer.answer else ""
        said = words or f"{answer.quantity:g}"
        label = _("Set aside the answer of {who}: {said}").format(who=answer.contributor.pseudonym, said=said)
        acts.append(Act(f"aside{n}", str(n), label, Kind.SET_ASIDE, {"answer": str(answer.uuid)}))
    return acts


def _dispute_acts(page: CasePage) -> list[Act]:
    if page.target_kind == Target.FACT:
        return [*_fact_acts(page), *_settling(page)]
    if page.target_kind != Target.SHEET:
        return _settling(page)
    return (
        [*_sheet_acts(page), *_settling(page)]
        if page.sheet and not page.sheet.withdrawn_at
        else _settling(page)
    )


def _design_acts(page: CasePage) -> list[Act]:
    if page.design is None or page.design.merged_into_id is not None:
        return []
    merge = Act("merge_designs", "g", _("Merge it into the design"), Kind.MERGE_DESIGNS, {}, "design")
    if page.design.state != DesignState.PROPOSED:
        return [merge]
    return [Act("confirm", "c", _("Confirm it"), Kind.CONFIRM_DESIGN), merge]


def _revision_acts(page: CasePage) -> list[Act]:
    state = page.revision.state if page.revision else ""
    acts = []
    if state in (ChartRevision.State.HELD, ChartRevision.State.WITHDRAWN):
        acts.append(Act("publish", "p", _("Publish it"), Kind.PUBLISH))
    if state == ChartRevision.State.HELD:
        acts.append(Act("hold", "h", _("Hold it back"), Kind.HOLD))
    if state == ChartRevision.State.HELD and page.group:
        acts.append(_group_aside(page))
    if state == ChartRevision.State.PUBLISHED:
        acts.append(Act("withdraw", "w", _("Withdraw it"), Kind.WITHDRAW_REVISION))
    return acts


def _group_aside(page: CasePage) -> Act:
    """All of a campaign in one act; its undo is one too."""
    n = len(page.group)
    label = ngettext("Set aside this {n} sheet", "Set aside these {n} sheets", n).format(n=n)
    sheets = [str(found.sheet.uuid) for found in page.group]
    return Act("set_aside_group", "s", label, Kind.SET_ASIDE, {"sheets": sheets})


def _variant_acts(page: CasePage) -> list[Act]:
    sheets = [str(found.sheet.uuid) for found in page.group]
    if page.design is None or not sheets:
        return []
    taken = list(page.design.variants.order_by("key").values_list("key", flat=True))
    free = next(letter for letter in START_OF_KEYS if letter not in taken)
    return [
        Act("leave", "k", _("Leave them as they are"), Kind.KEEP, {"sheets": sheets}),
        _group_aside(page),
        Act(
            "split",
            "v",
            _("Make them a variant, named"),
            Kind.SPLIT_VARIANT,
            {"sheets": sheets},
            "variant",
            free,
        ),
        Act(
            "merge_variants",
            "g",
            _("Count them for variant"),
            Kind.MERGE_VARIANTS,
            {"sheets": sheets},
            "variant",
            taken[0] if taken else "a",
        ),
    ]


def _second(page: CasePage) -> list[Act]:
    decision = page.decision
    if decision is None or decision.state != Decision.State.WAITING:
        return []
    what = kind_words(decision.kind)
    acts = []
    if waits_for_voice(decision) and not page.no_second:
        acts.append(Act("approve", "y", _("Agree: {what}").format(what=what), "approve"))
    return [*acts, Act("refuse", "n", _("Refuse: {what}").format(what=what), "refuse")]


def waits_for_voice(decision: Decision) -> bool:
    """For another moderator's yes."""
    waits = decision.state == Decision.State.WAITING
    return waits and decision.needs_second and decision.approver_id is None


MAKERS: dict[str, Callable[[CasePage], list[Act]]] = {
    "sheet": _sheet_acts,
    "dispute": _dispute_acts,
    "design": _design_acts,
    "revision": _revision_acts,
    "variant": _variant_acts,
    "decision": _second,
}
