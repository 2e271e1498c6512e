"""Publishing, holding and withdrawing revisions; readers are shown the newest that is published."""

from __future__ import annotations

import json

from django.utils import timezone

from registry.errors import refuse
from registry.models import Change, ChartRevision, CurrentChart, Decision, Design
from registry.services.changes import change_of_revision
from registry.services.charts import publication_record, show_revision
from registry.services.effects.base import REVISION, Effect, target_row
from registry.services.holding import FOR_TWO
from registry.services.recall import tell_recall
from registry.translation import gettext as _

State = ChartRevision.State


def current_show(design: Design) -> None:
    """Readers are shown the newest published revision, or that there is none.

    The newest of all is held, as a refresh does that adds the next: what that has published is seen here.
    """
    design.revisions.select_for_update(no_key=True).order_by("-number").values_list("pk").first()
    newest = design.revisions.filter(state=State.PUBLISHED).order_by("-number").first()
    if newest is None:
        CurrentChart.objects.filter(design=design).delete()
    else:
        show_revision(newest, json.loads(bytes(newest.content)))


def check_publish(decision: Decision) -> None:
    revision = target_row(ChartRevision, decision)
    if revision.state not in (State.HELD, State.WITHDRAWN) or not is_newest(revision):
        refuse(
            "/target",
            "revision_overtaken",
            _("Revision {n} doesn't wait for a decision any more.").format(n=revision.number),
            _("Look at the newest revision of the design."),
        )


def is_newest(revision: ChartRevision) -> bool:
    return not ChartRevision.objects.filter(design=revision.design, number__gt=revision.number).exists()


def publish(decision: Decision) -> None:
    revision = target_row(ChartRevision, decision)
    decision.before |= {
        "state": revision.state,
        "withdrawn_at": None if revision.withdrawn_at is None else revision.withdrawn_at.isoformat(),
        "withdrawn_reason": revision.withdrawn_reason,
    }
    revision.state = State.PUBLISHED
    revision.published_at = revision.published_at or timezone.now()
    revision.withdrawn_at, revision.withdrawn_reason = None, ""
    revision.save(update_fields=["state", "published_at", "withdrawn_at", "withdrawn_reason"])
    current_show(revision.design)
    publication_record(revision)


def unpublish(decision: Decision) -> None:
    """Readers may have it: it says at its own address that it no longer holds."""
    revision = target_row(ChartRevision, decision)
    if revision.state == State.PUBLISHED:
        _withdrawn(revision, _("The decision to publish it was taken back."))


def check_hold(decision: Decision) -> None:
    if target_row(ChartRevision, decision).state != State.HELD:
        refuse("/target", "revision_not_held", _("Only a revision that waits can be held back."))


def hold(decision: Decision) -> None:
    revision = target_row(ChartRevision, decision)
    decision.before["state"] = revision.state
    ChartRevision.objects.filter(pk=revision.pk).update(state=State.REFUSED)


def unhold(decision: Decision) -> None:
    """It waits again, unless a newer one has overtaken it, as it would have without the decision."""
    revision = target_row(ChartRevision, decision)
    if revision.state == State.REFUSED and is_newest(revision):
        ChartRevision.objects.filter(pk=revision.pk).update(state=State.HELD)


def check_withdraw(decision: Decision) -> None:
    if target_row(ChartRevision, decision).state != State.PUBLISHED:
        refuse("/target", "revision_not_published", _("Only a published revision can be withdrawn."))


def withdraw(decision: Decision) -> None:
    _withdrawn(target_row(ChartRevision, decision), decision.reason)


def _withdrawn(revision: ChartRevision, reason: str) -> None:
    revision.state = State.WITHDRAWN
    revision.withdrawn_at, revision.withdrawn_reason = timezone.now(), reason[:300]
    revision.save(update_fields=["state", "withdrawn_at", "withdrawn_reason"])
    change_of_revision(revision, Change.Kind.CHART_WITHDRAWN)
    current_show(revision.design)
    tell_recall(revision)


def unwithdraw(decision: Decision) -> None:
    revision = target_row(ChartRevision, decision)
    if revision.state == State.WITHDRAWN:
        revision.state = State.PUBLISHED
        revision.withdrawn_at, revision.withdrawn_reason = None, ""
        revision.save(update_fields=["state", "withdrawn_at", "withdrawn_reason"])
        current_show(revision.design)


def needs_two(decision: Decision) -> bool:
    """It touches a start position, takes a table away, or brings a chart back that two withdrew."""
    revision = ChartRevision.objects.get(uuid=decision.target_uuid)
    codes = {reason["code"] for reason in revision.held_because}
    return revision.state == State.WITHDRAWN or not codes.isdisjoint(FOR_TWO)


EFFECTS: dict[str, Effect] = {
    Decision.Kind.PUBLISH: Effect(
        REVISION, check=check_publish, apply=publish, reverse=unpublish, needs_second=needs_two
    ),
    Decision.Kind.HOLD: Effect(REVISION, check=check_hold, apply=hold, reverse=unhold),
    Decision.Kind.WITHDRAW_REVISION: Effect(
        REVISION,
        check=check_withdraw,
        apply=withdraw,
        reverse=unwithdraw,
        needs_second=lambda decision: True,
    ),
}
