"""Accounts and the contributors behind them."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import transaction

from registry.errors import refuse
from registry.models import Contributor, Decision, Target, User, Workshop
from registry.permissions import require
from registry.services.audit import record
from registry.services.fleet.erasing import fleets_leave
from registry.services.jobs.erasing import jobs_empty
from registry.services.own_words import words_erase
from registry.services.traces import traces_erase
from registry.translation import gettext as _


def contributor_of(user: User) -> Contributor:
    """The pseudonym under which this account's readings are published; made at first need."""
    contributor, _made = Contributor.objects.get_or_create(user=user)
    return contributor


def contributor_held(user: User) -> Contributor:
    """The same, until the transaction ends: what one person sends in bulk is counted call after call."""
    return Contributor.objects.select_for_update(no_key=True).get(pk=contributor_of(user).pk)


def contributor_at_hand(user: User) -> Contributor:
    """The same; for a request by token it came with the account.  Its workshop may have changed since."""
    kept: Contributor | None = user._state.fields_cache.get("contributor")
    return contributor_of(user) if kept is None or kept._state.adding else kept


@transaction.atomic
def workshop_join(*, by: User, name: str) -> Contributor:
    """Say where one works: colleagues count as one voice where independence matters."""
    require(by, "submit")
    contributor = contributor_of(by)
    workshop = Workshop.objects.get_or_create(name=name.strip())[0] if name.strip() else None
    if workshop != contributor.workshop:
        _check_undecided(contributor)
    contributor.workshop = workshop
    contributor.save(update_fields=["workshop"])
    record(by=by, action="workshop_join", target_kind="contributor", target_uuid=contributor.uuid)
    return contributor


def _check_undecided(contributor: Contributor) -> None:
    """Whoever joins the workshop of those who would decide about them makes parties of them."""
    waiting = Decision.objects.filter(state=Decision.State.WAITING, target_kind=Target.ACCOUNT)
    if waiting.filter(target_uuid=contributor.uuid).exists():
        refuse(
            "/workshop",
            "account_decided",
            _("A decision about this account waits; its workshop stays until then."),
        )


@transaction.atomic
def preferences_keep(
    *,
    by: User,
    distance_unit: str | None = None,
    speak_prompts: bool | None = None,
    language: str | None = None,
) -> None:
    """How this person likes their pages: km or miles, spoken prompts, the language ("": the browser's).

    What is None, or nothing that there is, stays as it was.
    """
    require(by, "submit")
    if distance_unit in ("km", "mi"):
        by.distance_unit = distance_unit
    if speak_prompts is not None:
        by.speak_prompts = speak_prompts
    if language is not None and language in ("", *dict(settings.LANGUAGES)):
        by.language = language
    by.save(update_fields=["distance_unit", "speak_prompts", "language"])


@transaction.atomic
def account_erase(*, by: User) -> None:
    """Delete the account with its words and pictures; readings stay under the pseudonym, which no longer
    leads to a person.

    Whatever of it is under way is waited for, and goes too; what comes later finds no account.
    """
    contributor = _at_rest(by)
    if contributor is None:
        return  # erased by another call meanwhile
    record(by=by, action="account_erase", target_kind="contributor", target_uuid=contributor.uuid)
    for n, meter in enumerate(contributor.meters.order_by("pk"), start=1):
        meter.name = f"meter {n}" if n > 1 else "meter"
        meter.save(update_fields=["name"])
    words_erase(by, contributor)
    jobs_empty(contributor)
    fleets_leave(by)
    traces_erase(by)
    by.delete()


def _at_rest(user: User) -> Contributor | None:
    """First what deeds hold while they are written down, then the account itself, with its key: every row
    that names it asks for that as it is stored.  None: it is gone already."""
    if not User.objects.filter(pk=user.pk).exists():
        return None
    contributor = contributor_of(user)
    deeds: tuple[Any, ...] = (contributor.jobs, user.disputes, contributor.sheets)
    for rows in deeds:
        list(rows.order_by("pk").select_for_update(no_key=True).values_list("pk"))
    people: tuple[Any, ...] = (Contributor.objects.filter(user=user), User.objects.filter(pk=user.pk))
    for rows in people:
        if rows.select_for_update().first() is None:
            return None
    return contributor
