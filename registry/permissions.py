"""Who may do what, said once; services call `require`, pages and API only pass the person on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied

from registry.models import Contributor, Sheet, User
from registry.second_factor import second_factor_kept

MODERATORS = "moderators"
Actor = User | AnonymousUser | None


def is_active(actor: Actor) -> bool:
    return isinstance(actor, User) and actor.is_active and actor.suspended_at is None


def is_moderator(actor: Actor) -> bool:
    if not is_active(actor):
        return False
    assert isinstance(actor, User)
    return actor.groups.filter(name=MODERATORS).exists() and second_factor_kept(actor)


def owns_sheet(actor: Actor, sheet: Sheet) -> bool:
    return is_active(actor) and sheet.contributor.user_id == getattr(actor, "pk", None)


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
RULES: dict[str, tuple[Callable[[Actor, Any], bool], str]] = {
    "submit": (lambda actor, _: is_active(actor), "Sign in to send a bench sheet."),
    "propose_design": (lambda actor, _: is_active(actor), "Sign in to propose a design."),
    "amend": (owns_sheet, "Only the contributor of a sheet can amend it."),
    "withdraw": (owns_sheet, "Only the contributor of a sheet can withdraw it."),
    "add_picture": (owns_sheet, "Only the contributor of a sheet can add pictures to it."),
    "dispute": (lambda actor, _: is_active(actor), "Sign in to dispute something."),
    "follow": (lambda actor, _: is_active(actor), "Sign in to follow a design."),
    "make_token": (lambda actor, _: is_active(actor), "Sign in to make an API token."),
    "moderate": (lambda actor, _: is_moderator(actor), "Only moderators can do this."),
}


def may(actor: Actor, action: str, target: Any = None) -> bool:
    return RULES[action][0](actor, target)


def require(actor: Actor, action: str, target: Any = None) -> None:
    """Raise PermissionDenied, with a sentence for the person, unless the actor may."""
    if may(actor, action, target):
        return
    if isinstance(actor, User) and actor.suspended_at is not None:
        raise PermissionDenied("This account is suspended. You can write an appeal on your own page.")
    if action == "moderate" and isinstance(actor, User) and actor.groups.filter(name=MODERATORS).exists():
        raise PermissionDenied("Moderators need a second factor: set one up on your own page first.")
    raise PermissionDenied(RULES[action][1])
