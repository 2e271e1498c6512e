"""Accounts under care: suspended, and all their sheets set aside or brought back in one act."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from registry.errors import refuse
from registry.models import Contributor, Decision, User
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


def check_account(decision: Decision) -> None:
    target_row(Contributor, decision)


def account_designs(decision: Decision) -> set[int]:
    """Every design that a sheet of the account counts for."""
    contributor = Contributor.objects.get(uuid=decision.target_uuid)
    overlays = routing()
    pairs = contributor.sheets.values_list("uuid", "design__uuid")
    ends: set[tuple[UUID | None, UUID]] = {
        (sheet if sheet in overlays.moved else None, design) for sheet, design in pairs
    }
    return {pk for sheet, design in ends for pk in counted_in(sheet, design, overlays)}


EFFECTS: dict[str, Effect] = {
    Decision.Kind.SUSPEND: Effect(ACCOUNT, check=check_suspend, apply=suspend, reverse=let_back),
    Decision.Kind.SET_ASIDE_ACCOUNT: Effect(ACCOUNT, check=check_account, designs=account_designs),
}
