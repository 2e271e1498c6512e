"""Who has a part in a case, and who may still decide it: nobody decides in their own case."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.models import (
    ChartRevision,
    Contributor,
    CurrentChart,
    Decision,
    Design,
    Dispute,
    Invitation,
    Sheet,
    Target,
    User,
)
from registry.models.invitations import FROM_THE_DESK
from registry.permissions import MODERATORS, is_party

SECOND_AFTER_DAYS = 30  # as long as a contributor is new


def decision_undone(decision: Decision) -> Decision | None:
    """The decision that one of kind "undo" takes back, held until the end of the transaction."""
    rows = Decision.objects.select_for_update(of=("self",), no_key=True).select_related("dispute")
    return _named(decision, rows)


def _named(decision: Decision, rows: QuerySet[Decision]) -> Decision | None:
    """What an undo names: from another registry that may be nothing, no uuid, or even an undo."""
    try:
        uuid = UUID(str(decision.payload.get("decision")))
    except ValueError:
        return None
    return rows.filter(uuid=uuid).exclude(kind=Decision.Kind.UNDO).first()


def parties(decision: Decision) -> list[Contributor]:
    """Whose sheet, proposal, account or dispute the decision is about; of an undo: what it takes back."""
    if decision.kind == Decision.Kind.UNDO:
        named = _named(decision, Decision.objects.all())
        return [] if named is None else parties(named)
    found = {person.pk: person for person in _owners(decision)}
    about = Dispute.objects.filter(
        Q(target_kind=decision.target_kind, target_uuid=decision.target_uuid, state=Dispute.State.OPEN)
        | Q(pk=decision.dispute_id)
    )
    disputers = Contributor.objects.filter(user__disputes__in=about).select_related("workshop")
    return [*found.values(), *(person for person in disputers if person.pk not in found)]


def _owners(decision: Decision) -> Iterable[Contributor]:
    people = Contributor.objects.select_related("workshop")
    target, sheets = decision.target_uuid, decision.payload.get("sheets", [])
    if decision.target_kind == Target.SHEET:
        return people.filter(sheets__uuid=target)
    if decision.target_kind == Target.ACCOUNT:
        return people.filter(uuid=target)
    if decision.target_kind == Target.FACT:
        return people.filter(fact_answers__uuid=decision.payload.get("answer"))
    if decision.target_kind == Target.REVISION:
        return (
            people.filter(pseudonym__in=_changed_by(target)) if decision.kind != "withdraw_revision" else ()
        )
    if decision.kind == Decision.Kind.CONFIRM_DESIGN:
        return people.filter(design__uuid=target)
    return people.filter(sheets__uuid__in=sheets).distinct() if sheets else ()


def _changed_by(revision_uuid: UUID) -> set[str]:
    """Pseudonyms of those whose sheets make a held revision differ from the published one."""
    revision = ChartRevision.objects.filter(uuid=revision_uuid).first()
    if revision is None:
        return set()
    current = CurrentChart.objects.filter(design=revision.design_id).select_related("revision").first()
    before = {} if current is None else _versions(current.revision.inputs)
    after = _versions(revision.inputs)
    changed = {sheet for sheet in before.keys() | after.keys() if before.get(sheet) != after.get(sheet)}
    return {(after.get(sheet) or before[sheet])[0] for sheet in changed}


def _versions(inputs: dict[str, Any]) -> dict[str, tuple[str, str]]:
    return {entry["sheet"]: (entry["contributor"], entry["digest"]) for entry in inputs.get("sheets", [])}


def moderators() -> QuerySet[User]:
    """Accounts that may decide now."""
    return User.objects.filter(groups__name=MODERATORS, is_active=True, suspended_at__isnull=True)


def proposer_moderates(decision: Decision) -> bool:
    """Whoever was relieved, suspended or deleted decides nothing any more, whatever of theirs still waits."""
    by = decision.proposer_id
    return by is not None and moderators().filter(pk=by).exists()


def second_moderates(decision: Decision) -> bool:
    """Whether the second voice that was given still counts: one of who was relieved or suspended is none."""
    by = decision.approver_id
    return by is not None and moderators().filter(pk=by).exists()


def second_voices() -> QuerySet[User]:
    """Moderators whose word counts as a second one: whom others at the desk took in lately is no other yet.

    Who was invited by command is vouched for by whoever runs the registry.
    """
    since = timezone.now() - timedelta(days=SECOND_AFTER_DAYS)
    young = Invitation.objects.filter(FROM_THE_DESK, used_at__gt=since, used_by__isnull=False)
    return moderators().exclude(pk__in=young.values("used_by"))


def seconds_for(decision: Decision, proposer: User) -> list[User]:
    """Moderators who could give the second voice."""
    people = parties(decision)
    others = second_voices().exclude(pk=proposer.pk)
    return [person for person in others if not is_party(person, contributors=people)]


def may_reply(decision: Decision) -> User | None:
    """Whoever has the right of reply before a decision against their sheet takes effect."""
    if decision.kind not in (Decision.Kind.SET_ASIDE, Decision.Kind.CORRECT, Decision.Kind.MOVE):
        return None
    sheet = Sheet.objects.filter(uuid=decision.target_uuid).select_related("contributor__user").first()
    user = None if sheet is None else sheet.contributor.user
    return user if user is not None and user.is_active else None


def design_of_target(target_kind: str, target_uuid: UUID) -> Design | None:
    """The design that a case belongs to, for its title and its list."""
    if target_kind in (Target.DESIGN, Target.CELL):
        return Design.objects.filter(uuid=target_uuid).first()
    if target_kind == Target.SHEET:
        return Design.objects.filter(sheets__uuid=target_uuid).first()
    if target_kind == Target.REVISION:
        return Design.objects.filter(revisions__uuid=target_uuid).first()
    if target_kind == Target.FACT:
        return Design.objects.filter(facts__uuid=target_uuid).first()
    return None
