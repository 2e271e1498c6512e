"""Accounts under care: suspended, their sheets set aside or brought back in one act, no longer moderators."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.models import Group
from django.utils import timezone

from registry.errors import refuse
from registry.models import CaseClaim, Contributor, Decision, Dispute, Target, User
from registry.permissions import MODERATORS
from registry.services.effects.base import ACCOUNT, Effect, counted_in, routing, target_row
from registry.services.notices import notify
from registry.translation import gettext as _


def account_of(decision: Decision) -> User:
    contributor = target_row(Contributor, decision)
    if contributor.user is None:
        refuse("/target", "account_gone", _("There is no account behind this name any more."))
    return contributor.user


def check_suspend(decision: Decision) -> None:
    if account_of(decision).suspended_at is not None:
        refuse("/target", "account_suspended", _("This account is suspended already."))


def suspend(decision: Decision) -> None:
    user = account_of(decision)
    user.suspended_at = timezone.now()
    user.save(update_fields=["suspended_at"])
    notify(user, "account_suspended", reason=decision.reason)


def let_back(decision: Decision) -> None:
    contributor = Contributor.objects.filter(uuid=decision.target_uuid).select_related("user").first()
    if contributor is not None and contributor.user is not None:
        User.objects.filter(pk=contributor.user.pk).update(suspended_at=None)
        notify(contributor.user, "account_back")


def is_about_moderator(decision: Decision) -> bool:
    """One moderator alone doesn't silence another, however long it waits."""
    about = {"contributor__uuid": decision.target_uuid, "groups__name": MODERATORS}
    return User.objects.filter(**about).exists()


def check_end(decision: Decision) -> None:
    if not account_of(decision).groups.filter(name=MODERATORS).exists():
        refuse("/target", "no_moderator", _("This account doesn't moderate."))


def end_moderating(decision: Decision) -> None:
    user = account_of(decision)
    user.groups.remove(Group.objects.get(name=MODERATORS))
    CaseClaim.objects.filter(moderator=user).delete()
    notify(user, "moderating_ended", reason=decision.reason)


def moderate_again(decision: Decision) -> None:
    user = User.objects.filter(contributor__uuid=decision.target_uuid).first()
    if user is not None:
        user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])


def check_account(decision: Decision) -> None:
    target_row(Contributor, decision)


def account_designs(decision: Decision) -> set[int]:
    """Every design that a sheet of the account counts for, or a cell of which it disputes."""
    contributor = Contributor.objects.get(uuid=decision.target_uuid)
    overlays = routing()
    pairs = contributor.sheets.values_list("uuid", "design__uuid")
    ends: set[tuple[UUID | None, UUID]] = {
        (sheet if sheet in overlays.moved else None, design) for sheet, design in pairs
    }
    disputed = Dispute.objects.filter(
        opened_by__contributor=contributor, target_kind=Target.CELL, state=Dispute.State.OPEN
    )
    ends |= {(None, design) for design in disputed.values_list("target_uuid", flat=True)}
    return {pk for sheet, design in ends for pk in counted_in(sheet, design, overlays)}


EFFECTS: dict[str, Effect] = {
    Decision.Kind.SUSPEND: Effect(
        ACCOUNT,
        check=check_suspend,
        apply=suspend,
        reverse=let_back,
        needs_second=is_about_moderator,
        by_person=True,
    ),
    Decision.Kind.END_MODERATING: Effect(
        ACCOUNT,
        check=check_end,
        apply=end_moderating,
        reverse=moderate_again,
        needs_second=lambda decision: True,
        by_person=True,
    ),
    Decision.Kind.SET_ASIDE_ACCOUNT: Effect(ACCOUNT, check=check_account, designs=account_designs),
}
