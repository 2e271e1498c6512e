"""Organisations: made by whoever needs one, joined by a link that works once, ruled by their owners."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from registry.errors import refuse
from registry.formats.link_tokens import link_digest
from registry.models import MemberInvitation, Membership, Organisation, User
from registry.permissions import require
from registry.services.audit import record
from registry.services.fields import Fields
from registry.translation import gettext as _

LASTS = timedelta(days=14)
MOST_KM, MOST_COST = 5e6, 1e9
Role = Membership.Role


@transaction.atomic
def organisation_make(*, by: User, body: Any) -> Organisation:
    """body: {"name"}.  Who makes it is its owner."""
    require(by, "submit")
    fields = Fields(body)
    name = fields.text("name", longest=120, needed=True)
    fields.raise_all()
    organisation = Organisation.objects.create(name=name)
    Membership.objects.create(organisation=organisation, user=by, role=Role.OWNER)
    record(by=by, action="organisation_make", target_kind="organisation", target_uuid=organisation.uuid)
    return organisation


@transaction.atomic
def organisation_set(
    *, by: User, organisation: Organisation, body: Any, still: Callable[[Organisation], None] | None = None
) -> Organisation:
    """The workshop's policy.  body: {"name", "policy_km", "planned_cost", "breakdown_cost", "next_km",
    "shares_units"}; what is left out stays, an empty figure is none.  RegistryErrors with every fault.

    still: asked of the locked row, raises where it is not as its sender saw it.
    """
    require(by, "own_fleet", organisation)
    organisation = Organisation.objects.select_for_update(no_key=True).get(pk=organisation.pk)
    if still is not None:
        still(organisation)
    fields = Fields(body)
    if "name" in fields.body:
        organisation.name = fields.text("name", longest=120, needed=True)
    if "policy_km" in fields.body:
        organisation.policy_km = fields.number("policy_km", None, low=1.0, high=MOST_KM)
    if "next_km" in fields.body:
        ahead = fields.number("next_km", organisation.next_km, low=1.0, high=MOST_KM)
        organisation.next_km = ahead or organisation.next_km
    for name in ("planned_cost", "breakdown_cost"):
        if name in fields.body:
            setattr(organisation, name, fields.number(name, None, low=1e-6, high=MOST_COST))
    if fields.body.get("shares_units") is not None:
        organisation.shares_units = fields.yes("shares_units")
    if (organisation.planned_cost is None) != (organisation.breakdown_cost is None) and not fields.errors:
        missing = "planned_cost" if organisation.planned_cost is None else "breakdown_cost"
        fields.wrong(missing, "value_missing", _("One cost says nothing without the other."), _("Give both."))
    fields.raise_all()
    organisation.save()
    record(by=by, action="organisation_set", target_kind="organisation", target_uuid=organisation.uuid)
    return organisation


@transaction.atomic
def member_invite(*, by: User, organisation: Organisation, role: str) -> str:
    """A token that makes its bearer a member, once, within two weeks; shown once."""
    require(by, "own_fleet", organisation)
    if role not in Role.values:
        refuse("/role", "word_unknown", _("There is no such role."), ", ".join(Role.values))
    token = secrets.token_urlsafe(24)
    MemberInvitation.objects.create(
        organisation=organisation,
        role=role,
        digest=link_digest(token),
        made_by=by,
        expires_at=timezone.now() + LASTS,
    )
    record(
        by=by, action="member_invite", target_kind="organisation", target_uuid=organisation.uuid, role=role
    )
    return token


@transaction.atomic
def member_join(*, by: User, token: str) -> Organisation:
    """Become a member by a link that was not used yet; who is one already keeps their role."""
    require(by, "submit")
    invitation = (
        MemberInvitation.objects.select_for_update(of=("self",), no_key=True)
        .select_related("organisation")
        .filter(digest=link_digest(token), used_at=None, expires_at__gt=timezone.now())
        .first()
    )
    if invitation is None:
        refuse("/token", "invitation_unknown", _("This link doesn't work any more."), _("Ask for a new one."))
    organisation = invitation.organisation
    _member, made = Membership.objects.get_or_create(
        organisation=organisation, user=by, defaults={"role": invitation.role}
    )
    if made:
        invitation.used_at = timezone.now()
        invitation.save(update_fields=["used_at"])
        record(by=by, action="member_join", target_kind="organisation", target_uuid=organisation.uuid)
    return organisation


def _members_held(organisation: Organisation) -> QuerySet[Membership]:
    """Of two owners who leave at once, the second sees that they are the last one."""
    Organisation.objects.select_for_update(no_key=True).get(pk=organisation.pk)
    return Membership.objects.filter(organisation=organisation)


@transaction.atomic
def member_set(*, by: User, organisation: Organisation, member: Membership, role: str) -> None:
    """Another role, or none ("": no member any more); the last owner stays one."""
    require(by, "own_fleet", organisation)
    if role not in ("", *Role.values):
        refuse("/role", "word_unknown", _("There is no such role."), ", ".join(Role.values))
    members = _members_held(organisation)
    others = members.filter(role=Role.OWNER).exclude(pk=member.pk)
    owns = members.filter(pk=member.pk, role=Role.OWNER).exists()
    if role != Role.OWNER and owns and not others.exists():
        refuse(
            "/role",
            "last_owner",
            _("A fleet has one owner at least."),
            _("Make somebody else an owner first."),
        )
    if role:
        members.filter(pk=member.pk).update(role=role)
    else:
        members.filter(pk=member.pk).delete()
    record(by=by, action="member_set", target_kind="organisation", target_uuid=organisation.uuid, role=role)


@transaction.atomic
def organisation_leave(*, by: User, organisation: Organisation) -> None:
    """Be a member no more; the last owner can't leave others without one."""
    require(by, "see_fleet", organisation)
    members = _members_held(organisation)
    own = members.get(user=by)
    left = members.exclude(pk=own.pk)
    if own.role == Role.OWNER and left.exists() and not left.filter(role=Role.OWNER).exists():
        refuse(
            "/role",
            "last_owner",
            _("A fleet has one owner at least."),
            _("Make somebody else an owner first."),
        )
    own.delete()
    record(by=by, action="organisation_leave", target_kind="organisation", target_uuid=organisation.uuid)


@transaction.atomic
def feed_make(*, by: User, organisation: Organisation) -> str:
    """The token of the calendar's private link, shown once; an older one leads nowhere from now on."""
    require(by, "own_fleet", organisation)
    token = secrets.token_urlsafe(24)
    Organisation.objects.filter(pk=organisation.pk).update(feed_digest=link_digest(token))
    record(by=by, action="feed_make", target_kind="organisation", target_uuid=organisation.uuid)
    return token


@transaction.atomic
def feed_withdraw(*, by: User, organisation: Organisation) -> None:
    require(by, "own_fleet", organisation)
    Organisation.objects.filter(pk=organisation.pk).update(feed_digest=None)
    record(by=by, action="feed_withdraw", target_kind="organisation", target_uuid=organisation.uuid)


def digest_want(*, by: User, organisation: Organisation, wants: bool) -> None:
    """Whether the due list comes by mail each week."""
    require(by, "see_fleet", organisation)
    Membership.objects.filter(organisation=organisation, user=by).update(wants_digest=wants)
