"""Who may do what, said once; services call `require`, pages and API only pass the person on."""

from __future__ import annotations

import hmac
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.utils.functional import Promise
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy

from registry.models import Contributor, Job, Membership, Organisation, Sheet, User
from registry.second_factor import second_factor_kept
from registry.selectors.mirrors import mirror_of

MODERATORS = "moderators"


@dataclass(frozen=True)
class LinkHolder:
    """Whoever opened a job's private link.  digest: of the link; user: who is signed in besides."""

    digest: str
    user: User | None = None


Actor = User | AnonymousUser | LinkHolder | None


def account_of(actor: Actor) -> User | None:
    """The account behind an actor, if any."""
    if isinstance(actor, LinkHolder):
        return actor.user
    return actor if isinstance(actor, User) else None


def is_active(actor: Actor) -> bool:
    return isinstance(actor, User) and actor.is_active and actor.suspended_at is None


def is_moderator(actor: Actor) -> bool:
    if not is_active(actor):
        return False
    assert isinstance(actor, User)
    return actor.groups.filter(name=MODERATORS).exists() and second_factor_kept(actor)


def owns_sheet(actor: Actor, sheet: Sheet) -> bool:
    return is_active(actor) and sheet.contributor.user_id == getattr(actor, "pk", None)


def sees_habits(actor: Actor, contributor: Contributor) -> bool:
    """One's own, and moderators everybody's."""
    own = is_active(actor) and contributor.user_id == getattr(actor, "pk", None)
    return own or is_moderator(actor)


def owns_job(actor: Actor, job: Job) -> bool:
    """By one's own account."""
    account = account_of(actor)
    if account is None or not is_active(account) or job.contributor is None:
        return False
    return job.contributor.user_id == account.pk


def works_on_job(actor: Actor, job: Job) -> bool:
    """By one's own account, or by the job's link as it is now: one that was withdrawn opens nothing."""
    if owns_job(actor, job):
        return True
    if not isinstance(actor, LinkHolder) or job.link_digest is None:
        return False
    return hmac.compare_digest(job.link_digest, actor.digest)


def may_take_over(actor: Actor, job: Job) -> bool:
    """Into one's account: a job that nobody's account has."""
    return job.contributor_id is None and is_active(account_of(actor)) and works_on_job(actor, job)


def role_in(actor: Actor, organisation: Organisation) -> str:
    """The person's role in an organisation; "" for whoever is no member: for them it is not there."""
    account = account_of(actor)
    if account is None or not is_active(account):
        return ""
    found = Membership.objects.filter(organisation=organisation, user=account)
    return found.values_list("role", flat=True).first() or ""


def is_party(actor: User, *, contributors: list[Contributor]) -> bool:
    """True if one of them is the person or a colleague of theirs: nobody decides their own case."""
    own = Contributor.objects.filter(user=actor).first()
    if own is None:
        return False
    return any(
        other.pk == own.pk or (own.workshop_id is not None and other.workshop_id == own.workshop_id)
        for other in contributors
    )


# action → rule(actor, target) and the sentence for a refusal
RULES: dict[str, tuple[Callable[[Actor, Any], bool], Promise]] = {
    "submit": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to send a bench sheet.")),
    "read_own": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to see what is yours.")),
    "propose_design": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to propose a design.")),
    "amend": (owns_sheet, gettext_lazy("Only the contributor of a sheet can amend it.")),
    "withdraw": (owns_sheet, gettext_lazy("Only the contributor of a sheet can withdraw it.")),
    "add_picture": (owns_sheet, gettext_lazy("Only the contributor of a sheet can add pictures to it.")),
    "dispute": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to dispute something.")),
    "follow": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to follow a design.")),
    "make_webhook": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to make a webhook.")),
    "make_token": (lambda actor, _: is_active(actor), gettext_lazy("Sign in to make an API token.")),
    "work_on_job": (works_on_job, gettext_lazy("Only the job's own people can do this.")),
    "own_job": (owns_job, gettext_lazy("Sign in and take the job into your account first.")),
    "take_over_job": (may_take_over, gettext_lazy("This job can't be taken into an account.")),
    "see_fleet": (lambda actor, fleet: bool(role_in(actor, fleet)), gettext_lazy("This fleet is not here.")),
    "work_fleet": (
        lambda actor, fleet: role_in(actor, fleet) in ("owner", "worker"),
        gettext_lazy("You may read this fleet's vehicles, not change them."),
    ),
    "own_fleet": (
        lambda actor, fleet: role_in(actor, fleet) == "owner",
        gettext_lazy("Only an owner of the fleet can change this."),
    ),
    "see_habits": (sees_habits, gettext_lazy("How somebody reads is for them and for moderators alone.")),
    "moderate": (lambda actor, _: is_moderator(actor), gettext_lazy("Only moderators can do this.")),
}


def may(actor: Actor, action: str, target: Any = None) -> bool:
    return RULES[action][0](actor, target)


# What a read-only mirror leaves alone: it would no longer be what the other registry is.
NOT_ON_A_MIRROR = {"submit", "propose_design", "amend", "withdraw", "add_picture", "dispute", "moderate"}


class MirrorReadOnly(PermissionDenied):
    """Refused because this registry is a copy.  url: of the registry where it can be done."""

    def __init__(self, url: str) -> None:
        super().__init__(
            _t("This registry is a read-only copy of {url}. Nothing is taken in here: do it there.").format(
                url=url
            )
        )
        self.url = url


def require_here(action: str) -> None:
    """Raise MirrorReadOnly where a copy leaves this to the registry that it is of, whoever asks."""
    mirrored = mirror_of() if action in NOT_ON_A_MIRROR else None
    if mirrored is not None:
        raise MirrorReadOnly(mirrored)


def require(actor: Actor, action: str, target: Any = None) -> None:
    """Raise PermissionDenied, with a sentence for the person, unless the actor may."""
    require_here(action)
    if may(actor, action, target):
        return
    if isinstance(actor, User) and actor.suspended_at is not None:
        raise PermissionDenied(_t("This account is suspended. You can write an appeal on your own page."))
    if action == "moderate" and isinstance(actor, User) and actor.groups.filter(name=MODERATORS).exists():
        raise PermissionDenied(_t("Moderators need a second factor: set one up on your own page first."))
    raise PermissionDenied(str(RULES[action][1]))
