"""A moderator's act in a case becomes a decision; several mirrored sheets may be settled in one go."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone

from registry.errors import RegistryError, RegistryErrors, refuse
from registry.models import CaseClaim, Decision, Dispute, User
from registry.permissions import require
from registry.selectors.designs import design_named
from registry.services.case_acts import Act
from registry.services.cases import CasePage, case_page
from registry.services.decisions import approve, decide, refuse_decision
from registry.translation import gettext as _

CLAIM_MINUTES = 20


def case_decide(
    *, by: User, kind: str, uuid: UUID, act: str, reason: str, seen: str | None, asked: str = ""
) -> Decision:
    """Do one of the case's acts.  asked: what the act asks for besides (a design, a day, a variant's name).

    Raises RegistryErrors, of which "case_changed" means that somebody was quicker; PermissionDenied.
    """
    page = case_page(by=by, kind=kind, uuid=uuid, charts=False)
    chosen = next((one for one in page.acts if one.code == act), None)
    if chosen is None:
        if act == "approve" and page.no_second:
            raise PermissionDenied(page.no_second)
        if seen is not None and seen != page.seen:
            refuse(
                "/seen",
                "case_changed",
                _("Somebody decided or wrote here while you were reading. Nothing was overwritten."),
                _("Look at the case as it is now."),
            )
        refuse("/act", "act_unknown", _("Choose what to do with this case."))
    if page.decision is not None:
        return _second_voice(by, page.decision, chosen, reason, seen)
    about_open = page.dispute is not None and page.dispute.state == Dispute.State.OPEN
    decision = decide(
        by=by,
        kind=chosen.kind,
        target_kind=page.target_kind,
        target_uuid=page.target_uuid,
        reason=reason,
        payload=_payload(chosen, asked, page),
        target_cell=page.dispute.target_cell if page.dispute else None,
        dispute=page.dispute if about_open and chosen.kind != Decision.Kind.ASK_REREAD else None,
        seen=seen,
    )
    CaseClaim.objects.filter(kind=kind, uuid=uuid, moderator=by).delete()
    return decision


def _second_voice(by: User, decision: Decision, act: Act, reason: str, seen: str | None) -> Decision:
    if act.code == "approve":
        return approve(by=by, decision=decision, seen=seen)
    return refuse_decision(by=by, decision=decision, reason=reason, seen=seen)


def _payload(act: Act, asked: str, page: CasePage) -> dict[str, object]:
    payload = dict(act.payload)
    asked = asked.strip() or act.initial
    if act.asks == "design":
        try:
            payload["design"] = str(design_named(asked).uuid)
        except RegistryError as error:
            raise RegistryErrors([error.at(field="/asked")]) from None
    elif act.asks:
        payload[act.asks] = asked
    return payload


def bulk_correct(*, by: User, sheets: Iterable[UUID], reason: str) -> tuple[list[Decision], list[str]]:
    """Apply to each sheet the correction that is suggested for it; each is a decision of its own.

    Returns the decisions, and a sentence for each sheet that was left as it was.
    """
    require(by, "moderate")
    done, left = [], []
    for uuid in sheets:
        try:
            done.append(case_decide(by=by, kind="sheet", uuid=uuid, act="correct", reason=reason, seen=None))
        except RegistryErrors as errors:
            left += [str(error) for error in errors]
        except RegistryError as error:
            left.append(str(error))
    return done, left


def claim_take(*, by: User, kind: str, uuid: UUID) -> CaseClaim:
    """Say that one is at a case for the next minutes; a claim that ran out goes to who takes it next."""
    require(by, "moderate")
    until = timezone.now() + timedelta(minutes=CLAIM_MINUTES)
    try:
        with transaction.atomic():
            claim, made = CaseClaim.objects.select_for_update(no_key=True).get_or_create(
                kind=kind, uuid=uuid, defaults={"moderator": by, "until": until}
            )
            if not made and claim.moderator_id != by.pk and claim.until > timezone.now():
                raise RegistryErrors([_taken()])
            claim.moderator, claim.until = by, until
            claim.save()
            return claim
    except IntegrityError:
        raise RegistryErrors([_taken()]) from None


def _taken() -> RegistryError:
    return RegistryError(
        "case_taken",
        _("Another moderator is at this case."),
        _("Take the next one, or come back in a while."),
    )


def claim_leave(*, by: User, kind: str, uuid: UUID) -> None:
    CaseClaim.objects.filter(kind=kind, uuid=uuid, moderator=by).delete()
