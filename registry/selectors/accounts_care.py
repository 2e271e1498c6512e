"""Accounts as moderators see them: what they sent and how it fits, what was decided about them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Count, F, Q, QuerySet
from django.utils import timezone

from registry.models import AuditEntry, Contributor, Decision, Dispute, Invitation, SheetFinding, Target
from registry.permissions import MODERATORS
from registry.selectors.parties import moderators
from registry.selectors.seen import case_seen


def contributors_named(query: str = "") -> QuerySet[Any]:
    """Contributors by part of their pseudonym or of their workshop's name; all without a query."""
    people = Contributor.objects.select_related("user", "workshop")
    if query:
        people = people.filter(Q(pseudonym__icontains=query) | Q(workshop__name__icontains=query))
    return people


def accounts_for_care(query: str = "") -> QuerySet[Any]:
    """Contributors with counts of sheets and of those that don't fit, the most unfitting first."""
    people = contributors_named(query).annotate(
        sent=Count("sheets", distinct=True),
        odd=Count(
            "sheets__finding",
            filter=~Q(sheets__finding__finding__in=["fits", "slip", "other_variant"]),
            distinct=True,
        ),
    )
    return people.order_by(F("odd").desc(), "-sent", "pk")


def invitations_sent(most: int = 50) -> list[Invitation]:
    """The latest, each with `open`, `over`, `desk` (made there), `waits` (for another moderator) by now."""
    rows = list(Invitation.objects.select_related("used_by__contributor")[:most])
    now = timezone.now()
    for row in rows:
        row.over = row.expires_at <= now  # type: ignore[attr-defined]
        row.open = not (row.used_at or row.withdrawn_at or row.over)  # type: ignore[attr-defined]
        row.desk = row.needs_second or row.made_by_id is not None  # type: ignore[attr-defined]
        row.waits = row.open and row.desk and row.agreed_at is None  # type: ignore[attr-defined]
    return rows


def moderators_named() -> QuerySet[Contributor]:
    """Who decides here, by pseudonym."""
    return Contributor.objects.filter(user__in=moderators()).select_related("workshop").order_by("pk")


@dataclass(frozen=True)
class AccountCare:
    contributor: Contributor
    sent: int
    withdrawn: int
    findings: list[tuple[str, int]]
    decisions: list[Decision]
    appeals: list[Dispute]
    acts: list[AuditEntry]
    is_moderator: bool
    seen: str

    @property
    def suspended_by(self) -> Decision | None:
        return self._in_force(Decision.Kind.SUSPEND)

    @property
    def aside_by(self) -> Decision | None:
        return self._in_force(Decision.Kind.SET_ASIDE_ACCOUNT)

    def _in_force(self, kind: str) -> Decision | None:
        return next((d for d in self.decisions if d.kind == kind and d.state == "in_force"), None)


def account_care(uuid: UUID) -> AccountCare | None:
    contributor = Contributor.objects.filter(uuid=uuid).select_related("user", "workshop").first()
    if contributor is None:
        return None
    about = {"target_kind": Target.ACCOUNT, "target_uuid": uuid}
    user = contributor.user
    findings = SheetFinding.objects.filter(sheet__contributor=contributor).values_list("finding")
    return AccountCare(
        contributor=contributor,
        sent=contributor.sheets.count(),
        withdrawn=contributor.sheets.exclude(withdrawn_at=None).count(),
        findings=list(findings.annotate(n=Count("pk")).order_by("-n", "finding")),
        decisions=list(
            Decision.objects.filter(**about).select_related("proposer__contributor").order_by("-pk")
        ),
        appeals=list(Dispute.objects.filter(**about).prefetch_related("messages").order_by("-pk")),
        acts=[]
        if user is None
        else list(AuditEntry.objects.filter(actor_uuid=user.uuid).order_by("-pk")[:40]),
        is_moderator=user is not None and user.groups.filter(name=MODERATORS).exists(),
        seen=case_seen(Target.ACCOUNT, uuid),
    )
