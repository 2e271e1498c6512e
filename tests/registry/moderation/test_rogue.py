"""A rogue moderator, alone: makes no second voice, silences nobody, and doesn't stay against the others."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import AuditEntry, Change, Decision, Invitation, Notice, User
from registry.permissions import MODERATORS, may
from registry.selectors.api_desk import decisions_for_api
from registry.services.accounts import contributor_of, workshop_join
from registry.services.decisions import agree, approve, decide, refuse_decision, undo
from registry.services.due_decisions import apply_due
from tests.registry.moderation.made import account, made_design, made_sheet, newest, readers

pytestmark = pytest.mark.django_db


@pytest.fixture
def three() -> list[User]:
    return [account(f"moderator{n}", moderator=True) for n in range(3)]


def about(user: User, kind: str) -> dict[str, Any]:
    target = contributor_of(user).uuid
    return {"kind": kind, "target_kind": "account", "target_uuid": target, "reason": "It is so."}


def is_silent(user: User) -> bool:
    return not may(User.objects.get(pk=user.pk), "moderate")


@pytest.mark.parametrize("kind", ["suspend", "end_moderating"])
def test_moderator_is_silenced_by_two_and_brought_back_by_two(three: list[User], kind: str) -> None:
    rogue, target, other = three
    decision = decide(by=rogue, **about(target, kind))
    assert (decision.state, decision.effective_at) == ("waiting", None)
    assert not is_silent(target)
    assert Notice.objects.get(user=target).code == "role_proposed"
    with pytest.raises(PermissionDenied):
        approve(by=rogue, decision=decision)
    with pytest.raises(PermissionDenied):
        refuse_decision(by=target, decision=decision, reason="Own case.")
    approve(by=other, decision=decision)
    assert is_silent(target)
    back = undo(by=rogue, decision=decision, reason="Too hard.")
    assert back.state == "waiting" and is_silent(target)
    approve(by=other, decision=back)
    assert not is_silent(target)
    assert not decisions_for_api().exists() and not Change.objects.exists()  # nobody outside is told


def test_account_of_nobody_who_moderates_is_suspended_by_one(three: list[User]) -> None:
    assert decide(by=three[0], **about(account("reader"), "suspend")).state == "in_force"
    with pytest.raises(RegistryErrors, match="doesn't moderate"):
        decide(by=three[0], **about(account("another"), "end_moderating"))


@pytest.mark.parametrize("kind", ["suspend", "end_moderating"])
@pytest.mark.parametrize("agrees", [True, False])
def test_of_two_neither_is_rid_of_the_other_by_waiting(three: list[User], kind: str, agrees: bool) -> None:
    rogue, target, third = three
    third.groups.clear()
    decision = decide(by=rogue, **about(target, kind))
    assert (decision.state, decision.effective_at) == ("waiting", None)
    assert apply_due(now=timezone.now() + timedelta(days=400)) == 0
    # as an older version let one wait
    Decision.objects.filter(pk=decision.pk).update(before={"alone": True}, effective_at=timezone.now())
    assert apply_due(now=timezone.now() + timedelta(days=400)) == 0
    assert not is_silent(target)
    third.groups.add(target.groups.get(name=MODERATORS))  # as by `benchquorum invite`
    if agrees:
        approve(by=third, decision=decision)
    else:
        refuse_decision(by=third, decision=decision, reason="They did nothing.")
    assert is_silent(target) == agrees


def test_whoever_is_proposed_against_makes_no_colleagues_of_those_who_decide(
    client: Client, three: list[User]
) -> None:
    proposer, rogue, second = three
    workshop_join(by=second, name="North yard")
    decision = decide(by=proposer, **about(rogue, "end_moderating"))
    client.force_login(rogue)
    form = {"workshop": "North yard", "distance_unit": "km", "language": ""}
    answer = client.post("/account/own/", form)
    assert answer.status_code == 400 and "A decision about this account waits" in answer.content.decode()
    assert client.post("/account/own/", {**form, "workshop": ""}).status_code == 302
    approve(by=second, decision=decision)
    assert is_silent(rogue)


@pytest.fixture
def approved(three: list[User]) -> tuple[Decision, User]:
    """What waits for the contributor's answer only, a second moderator having agreed; the contributor."""
    people = readers(4)
    design = made_design(people[0])
    sheets = [made_sheet(person, design) for person in people]
    decision = decide(by=three[0], kind="set_aside", target_kind="sheet", target_uuid=sheets[3].uuid,
                      reason="Odd.")  # fmt: skip
    Decision.objects.filter(pk=decision.pk).update(needs_second=True)  # as where it touches a start position
    assert approve(by=three[1], decision=decision).state == "waiting"
    return decision, people[3]


def relieved(user: User) -> None:
    user.groups.clear()


def suspended(user: User) -> None:
    User.objects.filter(pk=user.pk).update(suspended_at=timezone.now())


@pytest.mark.parametrize("gone", [relieved, suspended])
@pytest.mark.parametrize("answers", [True, False])
def test_second_voice_of_who_moderates_no_more_is_none(
    three: list[User], approved: tuple[Decision, User], gone: Any, answers: bool
) -> None:
    decision, contributor = approved
    gone(three[1])
    if answers:
        agree(by=contributor, decision=decision)
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 0
    decision.refresh_from_db()
    assert (decision.state, decision.approver) == ("waiting", None)
    assert AuditEntry.objects.filter(action="decision_waits_anew").count() == 1
    approve(by=three[2], decision=decision)
    assert apply_due(now=timezone.now() + timedelta(days=8)) == int(not answers)
    decision.refresh_from_db()
    assert decision.state == "in_force"


def test_stated_time_stands_in_where_nobody_else_is_left_to_give_it(
    three: list[User], approved: tuple[Decision, User]
) -> None:
    decision, _contributor = approved
    relieved(three[1])
    suspended(three[2])
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 0
    decision.refresh_from_db()
    assert decision.before["alone"] and decision.approver is None
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 1


def test_young_moderator_gives_no_second_voice(three: list[User]) -> None:
    rogue, young, other = three
    people = readers(4)
    design = made_design(people[0])
    for person in people:
        made_sheet(person, design)
    link = Invitation.objects.create(
        digest="0" * 64, made_by=other, needs_second=True, used_by=young, used_at=timezone.now(),
        expires_at=timezone.now(),
    )  # fmt: skip
    said = {"kind": "withdraw_revision", "target_kind": "revision", "target_uuid": newest(design).uuid}
    decision = decide(by=rogue, reason="Wrong.", **said)
    with pytest.raises(PermissionDenied, match="30 days"):
        approve(by=young, decision=decision)
    other.delete()  # whose invitation is not one by command now
    with pytest.raises(PermissionDenied, match="30 days"):
        approve(by=young, decision=decision)
    Invitation.objects.filter(pk=link.pk).update(needs_second=False, made_by=None)  # by command
    assert approve(by=young, decision=decision).state == Decision.State.IN_FORCE


@pytest.fixture
def proposed(three: list[User]) -> tuple[Decision, Decision, User]:
    """Of one who moderates no more: what waits for a second voice, what for the contributor; and them."""
    people = readers(4)
    design = made_design(people[0])
    sheets = [made_sheet(person, design) for person in people]
    withdrawal = decide(by=three[0], kind="withdraw_revision", target_kind="revision",
                        target_uuid=newest(design).uuid, reason="Wrong.")  # fmt: skip
    aside = decide(by=three[0], kind="set_aside", target_kind="sheet", target_uuid=sheets[3].uuid,
                   reason="Odd.")  # fmt: skip
    Decision.objects.filter(pk=aside.pk).update(needs_second=False)
    approve(by=three[2], decision=decide(by=three[1], **about(three[0], "end_moderating")))
    return withdrawal, aside, people[3]


def test_what_a_relieved_moderator_proposed_takes_no_effect(
    three: list[User], proposed: tuple[Decision, Decision, User]
) -> None:
    withdrawal, aside, contributor = proposed
    with pytest.raises(PermissionDenied, match="doesn't moderate any more"):
        approve(by=three[1], decision=withdrawal)
    with pytest.raises(PermissionDenied, match="doesn't moderate any more"):
        agree(by=contributor, decision=aside)
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 0
    aside.refresh_from_db()
    assert aside.state == "refused"
    assert refuse_decision(by=three[1], decision=withdrawal, reason="Not so.").state == "refused"


def test_what_waits_of_a_deleted_account_takes_no_effect(
    three: list[User], proposed: tuple[Decision, Decision, User]
) -> None:
    withdrawal, _aside, _contributor = proposed
    Decision.objects.filter(pk=withdrawal.pk).update(proposer=None)
    with pytest.raises(PermissionDenied, match="doesn't moderate any more"):
        approve(by=three[1], decision=withdrawal)


def test_desk_offers_no_second_voice_that_would_be_none(
    client: Client, three: list[User], proposed: tuple[Decision, Decision, User]
) -> None:
    withdrawal, _aside, _contributor = proposed
    address = f"/desk/decision/{withdrawal.uuid}/"
    client.force_login(three[1])
    page = client.get(address).content.decode()
    assert 'value="approve"' not in page and 'value="refuse"' in page
    assert "doesn&#x27;t moderate any more" in page
    answer = client.post(address + "decide/", {"act": "approve", "reason": "Yes."})
    assert answer.status_code == 403 and "doesn&#x27;t moderate any more" in answer.content.decode()
    three[0].groups.add(three[1].groups.get(name=MODERATORS))
    assert 'value="approve"' in client.get(address).content.decode()
    Invitation.objects.create(
        digest="0" * 64, needs_second=True, used_by=three[1], used_at=timezone.now(),
        expires_at=timezone.now(),
    )  # fmt: skip
    page = client.get(address).content.decode()
    assert 'value="approve"' not in page and "30 days after you became a moderator" in page


def test_desk_says_that_no_time_stands_in_against_a_moderator(client: Client, three: list[User]) -> None:
    three[2].groups.clear()
    decision = decide(by=three[0], **about(three[1], "suspend"))
    for person in three[:2]:
        client.force_login(person)
        assert "no waiting time stands in" in client.get(f"/desk/decision/{decision.uuid}/").content.decode()


def test_desk_shows_who_moderates_and_ends_it(client: Any, three: list[User]) -> None:
    name = contributor_of(three[1]).pseudonym
    client.force_login(three[0])
    page = client.get("/desk/invitations/").content.decode()
    assert name in page
    address = f"/desk/accounts/{contributor_of(three[1]).uuid}/"
    client.post(address, {"act": "end_moderating", "reason": "They asked for it."})
    decision = Decision.objects.get()
    client.force_login(three[2])
    assert name in client.get(f"/desk/decision/{decision.uuid}/").content.decode()
    client.post(f"/desk/decision/{decision.uuid}/decide/", {"act": "approve", "reason": "Yes."})
    assert is_silent(three[1])
