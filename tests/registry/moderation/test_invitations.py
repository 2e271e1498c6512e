"""Invitations to moderate: by mail, once, for the address they went to, for seven days."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.utils import timezone

from registry.commands.main import main
from registry.errors import RegistryErrors
from registry.models import AuditEntry, Invitation, Notice, User
from registry.permissions import may
from registry.services.invitations import (
    LASTS,
    MOST_OPEN,
    invitation_agree,
    invitation_make,
    invitation_take,
    invitations_forget,
)
from tests.registry.moderation.made import account

WHOM = "newcomer@workshop.example"


@pytest.fixture
def moderator(db: None) -> User:
    return account("moderator", moderator=True)


@pytest.fixture
def second(db: None) -> User:
    return account("second", moderator=True)


@pytest.fixture
def newcomer(db: None) -> User:
    return account("newcomer")


@pytest.fixture
def invite(
    client: Client, moderator: User, second: User, mailoutbox: Any, django_capture_on_commit_callbacks: Any
) -> Any:
    """Sends one to an address, to which another moderator agreed; what stood in the mail."""

    def send(email: str = WHOM) -> str:
        client.force_login(moderator)
        assert client.post("/desk/invitations/", {"email": email}).status_code == 302
        assert not mailoutbox
        client.force_login(second)
        with django_capture_on_commit_callbacks(execute=True):
            client.post("/desk/invitations/", {"agree": str(Invitation.objects.get().uuid)})
        client.force_login(moderator)
        (mail,) = mailoutbox
        assert mail.to == [email]
        found = re.search(r"http://testserver(/invitations/[\w-]+/)", mail.body)
        assert found is not None
        return found[1]

    return send


def test_link_makes_a_moderator_once(client: Client, invite: Any, newcomer: User, settings: Any) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = False
    link = invite()
    assert not may(newcomer, "moderate")
    client.force_login(newcomer)
    assert "Become a moderator" in client.get(link).content.decode()
    assert not may(newcomer, "moderate")  # looking at it is not taking it
    assert client.post(link)["Location"] == "/desk/"
    assert may(newcomer, "moderate")
    newcomer.groups.clear()
    assert client.post(link).status_code == 400
    assert not may(newcomer, "moderate")


def test_second_factor_comes_first_where_it_is_asked_for(
    client: Client, invite: Any, newcomer: User, settings: Any
) -> None:
    link = invite()
    settings.BENCHQUORUM_MODERATOR_MFA = True
    client.force_login(newcomer)
    assert client.post(link)["Location"] == "/account/2fa/"
    assert not may(newcomer, "moderate")


def test_nobody_else_can_take_it(client: Client, invite: Any, settings: Any) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = False
    link, other = invite(), account("other")
    client.force_login(other)
    assert "another e-mail address" in client.get(link).content.decode()
    assert client.post(link).status_code == 400
    assert not may(other, "moderate")
    assert client.get(link.replace("s/", "s/x", 1)).status_code == 200  # a guess says nothing more
    client.logout()
    assert client.post(link).status_code == 302


def test_link_runs_out_and_its_address_is_forgotten(client: Client, invite: Any, newcomer: User) -> None:
    link = invite()
    Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    client.force_login(newcomer)
    assert "works no more" in client.get(link).content.decode()
    assert client.post(link).status_code == 400
    assert invitations_forget() == 1
    assert Invitation.objects.get().email == ""


def test_withdrawn_link_works_no_more(client: Client, invite: Any, moderator: User, newcomer: User) -> None:
    link = invite()
    client.post("/desk/invitations/", {"withdraw": str(Invitation.objects.get().uuid)})
    client.force_login(newcomer)
    assert client.post(link).status_code == 400


def test_link_is_kept_nowhere_and_the_log_names_no_address(invite: Any) -> None:
    link = invite()
    kept = Invitation.objects.get()
    assert link.split("/")[2] not in str(vars(kept))
    assert timedelta(0) < LASTS - (kept.expires_at - timezone.now()) < timedelta(minutes=5)
    entry = AuditEntry.objects.get(action="invitation_make")
    assert WHOM not in str(vars(entry))


@pytest.mark.parametrize("email", ["", "nobody", "a@b", "a b@workshop.example", "moderator@workshop.example"])
def test_what_is_no_address_to_invite_is_said_beside_the_field(
    client: Client, moderator: User, email: str
) -> None:
    client.force_login(moderator)
    answer = client.post("/desk/invitations/", {"email": email})
    assert answer.status_code == 400
    assert 'aria-describedby="email-wrong"' in answer.content.decode()


def test_nobody_makes_their_own_second_voice(
    client: Client, moderator: User, second: User, newcomer: User, mailoutbox: Any
) -> None:
    invitation, address = invitation_make(by=moderator, email=WHOM, link=str)
    assert address == "" and Notice.objects.get(user=second).code == "invitation_waits"
    client.force_login(moderator)
    asked = {"agree": str(invitation.uuid)}
    assert b"waits for another moderator" in client.get("/desk/invitations/").content
    assert client.post("/desk/invitations/", asked).status_code == 403
    assert not mailoutbox
    links: list[str] = []
    assert invitation_agree(by=second, uuid=invitation.uuid, link=kept(links))
    invitation_take(by=newcomer, token=links[0])
    assert may(newcomer, "moderate")
    # who was taken in by the desk is no second voice yet: two could else make as many as they like
    third, _ = invitation_make(by=moderator, email="third@workshop.example", link=str)
    with pytest.raises(PermissionDenied):
        invitation_agree(by=newcomer, uuid=third.uuid, link=str)
    Invitation.objects.filter(used_by=newcomer).update(used_at=timezone.now() - timedelta(days=31))
    assert invitation_agree(by=newcomer, uuid=third.uuid, link=str)


def test_invitation_of_a_moderator_who_is_alone_works_after_the_stated_time(
    client: Client, moderator: User, newcomer: User, mailoutbox: Any, settings: Any
) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = False
    links: list[str] = []
    invitation, _address = invitation_make(by=moderator, email=WHOM, link=kept(links))
    with pytest.raises(RegistryErrors, match="doesn't work yet"):
        invitation_take(by=newcomer, token=links[0])
    assert invitation.opens_at is not None
    Invitation.objects.update(opens_at=timezone.now())
    User.objects.filter(pk=moderator.pk).update(suspended_at=timezone.now())
    with pytest.raises(RegistryErrors, match="doesn't work yet"):
        invitation_take(by=newcomer, token=links[0])
    moderator.delete()  # whose invitation is not one by command now
    with pytest.raises(RegistryErrors, match="doesn't work yet"):
        invitation_take(by=newcomer, token=links[0])
    Invitation.objects.update(made_by=account("again", moderator=True))
    invitation_take(by=newcomer, token=links[0])
    assert may(newcomer, "moderate")


def test_nobody_who_was_relieved_leaves_a_successor(moderator: User, second: User, newcomer: User) -> None:
    links: list[str] = []
    invitation, _address = invitation_make(by=moderator, email=WHOM, link=str)
    assert invitation_agree(by=second, uuid=invitation.uuid, link=kept(links))
    moderator.groups.clear()
    with pytest.raises(RegistryErrors, match="doesn't moderate any more"):
        invitation_take(by=newcomer, token=links[0])
    assert not may(newcomer, "moderate")


def kept(links: list[str]) -> Callable[[str], str]:
    def link(token: str) -> str:
        links.append(token)
        return token

    return link


def test_open_invitations_are_few(moderator: User) -> None:
    for n in range(MOST_OPEN):
        invitation_make(by=moderator, email=f"a{n}@workshop.example", link=str)
    with pytest.raises(RegistryErrors, match="open already"):
        invitation_make(by=moderator, email=WHOM, link=str)


def test_one_by_command_is_neither_ended_nor_crowded_out_at_the_desk(
    client: Client, moderator: User, newcomer: User, settings: Any
) -> None:
    """Against a rogue moderator it is the way out."""
    for n in range(MOST_OPEN):
        invitation_make(by=moderator, email=f"a{n}@workshop.example", link=str)
    links: list[str] = []
    invitation, _address = invitation_make(by=None, email=WHOM, link=kept(links))
    client.force_login(moderator)
    page = client.get("/desk/invitations/").content.decode()
    assert WHOM in page and f'name="withdraw" value="{invitation.uuid}"' not in page
    client.post("/desk/invitations/", {"withdraw": str(invitation.uuid)})
    settings.BENCHQUORUM_MODERATOR_MFA = False
    invitation_take(by=newcomer, token=links[0])
    assert may(newcomer, "moderate")


def test_only_moderators_invite(client: Client, newcomer: User) -> None:
    client.force_login(newcomer)
    assert client.post("/desk/invitations/", {"email": WHOM}).status_code == 403
    assert not Invitation.objects.exists()


@pytest.mark.django_db
def test_first_moderator_is_invited_by_command(capsys: pytest.CaptureFixture[str], client: Client) -> None:
    assert main(["invite", WHOM, "--site", "https://registry.example/"]) == 0
    address = capsys.readouterr().out.strip()
    assert address.startswith("https://registry.example/invitations/")
    client.force_login(account("newcomer"))
    assert client.post(address.removeprefix("https://registry.example")).status_code == 302
