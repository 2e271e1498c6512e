"""One sees where one is signed in, and ends what one does not know any more."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from allauth.mfa import signals
from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value, yield_hotp_counters_from_time
from allauth.usersessions.models import UserSession
from django.contrib.auth.models import Group
from django.contrib.messages import get_messages
from django.contrib.sessions.models import Session
from django.test import Client

from registry.models import User
from registry.permissions import MODERATORS
from registry.services.invitations import invitation_make
from registry.services.traces import traces_age
from registry.sessions import BEGAN, SEEN
from tests.api.made import made_user, said_again

pytestmark = pytest.mark.django_db
PAGE, WORD = "/account/sessions/", "a long pass phrase"
PHONE = "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0"
DESK = "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 Chrome/142.0 Safari/537.36"
SignIn = Callable[..., Client]


@pytest.fixture
def reader() -> User:
    return made_user()


@pytest.fixture
def sign_in(settings: Any) -> SignIn:
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    settings.ACCOUNT_RATE_LIMITS = False

    def by_page(agent: str = PHONE, address: str = "192.0.2.66", who: str = "reader") -> Client:
        client = Client(headers={"User-Agent": agent}, REMOTE_ADDR=address)
        client.post("/account/login/", {"login": f"{who}@workshop.example", "password": WORD})
        assert is_in(client)
        return client

    return by_page


def is_in(client: Client) -> bool:
    return bool(client.get("/sheets/").status_code == 200)


def test_each_browser_is_a_line_and_no_more_than_its_network_is_kept(reader: User, sign_in: SignIn) -> None:
    sign_in(DESK, "198.51.100.9")
    page = sign_in(PHONE).get(PAGE).content.decode()
    assert "<strong>Firefox, Android</strong> · this one" in page
    assert "<strong>Chrome, Windows</strong>" in page and "from the network 198.51.100.0/24" in page
    kept = list(UserSession.objects.order_by("pk").values_list("ip", flat=True))
    assert kept == ["198.51.100.0", "192.0.2.0"]


def test_one_is_ended_and_the_others_stay(reader: User, sign_in: SignIn) -> None:
    lost, kept, here = sign_in(), sign_in(), sign_in(DESK)
    number = UserSession.objects.get(session_key=lost.session.session_key).pk
    said_again(here)
    answer = here.post(PAGE, {"end": str(number)}, follow=True)
    assert "That session has ended." in answer.content.decode()
    assert [is_in(client) for client in (lost, kept, here)] == [False, True, True]


def test_all_others_end_those_too_that_no_list_has(reader: User, sign_in: SignIn) -> None:
    listed, unlisted, here = sign_in(), sign_in(), sign_in(DESK)
    UserSession.objects.filter(session_key=unlisted.session.session_key).delete()
    made_user("colleague")
    colleague = sign_in(who="colleague")
    said_again(here)
    here.post(PAGE, {"end": "others"})
    assert [is_in(client) for client in (listed, unlisted, here, colleague)] == [False, False, True, True]
    assert "You are signed in nowhere else." in here.get(PAGE).content.decode()


def test_nobody_ends_another_s(reader: User, sign_in: SignIn) -> None:
    mine = sign_in()
    made_user("colleague")
    number = UserSession.objects.get(user=reader).pk
    colleague = sign_in(who="colleague")
    said_again(colleague)
    assert colleague.post(PAGE, {"end": str(number)})["Location"] == PAGE
    assert is_in(mine)


def test_who_is_there_is_asked_before_any_is_ended(reader: User, sign_in: SignIn) -> None:
    other, here = sign_in(), sign_in()
    assert here.get(PAGE).status_code == 200
    asked = here.post(PAGE, {"end": "others"})
    assert asked.status_code == 302 and asked["Location"].startswith("/account/reauthenticate/")
    assert is_in(other)
    here.post(asked["Location"], {"password": WORD})
    assert not is_in(other) and is_in(here)


def test_what_is_over_by_our_own_rule_is_not_listed(reader: User, sign_in: SignIn) -> None:
    old, here = sign_in(DESK), sign_in()
    session = old.session
    session[SEEN], session[BEGAN] = time.time() - 73 * 3600, time.time() - 4 * 86400
    session.save()
    assert "Chrome" not in here.get(PAGE).content.decode()
    assert not Session.objects.filter(pk=session.session_key).exists()


def test_a_new_password_ends_all_others(reader: User, sign_in: SignIn) -> None:
    other, here = sign_in(DESK), sign_in()
    new = "an even longer pass phrase"
    here.post("/account/password/change/", {"oldpassword": WORD, "password1": new, "password2": new})
    assert not is_in(other) and is_in(here)
    page = here.get(PAGE).content.decode()
    assert "Chrome" not in page and "this one" in page


@pytest.mark.django_db(transaction=True)  # the package says so once it is stored
@pytest.mark.parametrize("elsewhere", [True, False])
def test_a_changed_second_factor_offers_to_end_the_others(
    reader: User, sign_in: SignIn, settings: Any, elsewhere: bool
) -> None:
    settings.MFA_TOTP_TOLERANCE = 1  # the half minute may end before the code arrives
    if elsewhere:
        sign_in(DESK)
    here = sign_in()
    said_again(here)
    here.get("/account/2fa/totp/activate/")
    _before, counter, _after = yield_hotp_counters_from_time()
    code = format_hotp_value(hotp_value(here.session["mfa.totp.secret"], counter))
    page = here.post("/account/2fa/totp/activate/", {"code": code}, follow=True).content.decode()
    assert page.count(f'<a href="{PAGE}">End the other sessions</a>') == int(elsewhere)


@pytest.mark.parametrize("moderates", [True, False])
def test_a_moderator_s_new_factor_ends_what_has_not_shown_it(
    reader: User, sign_in: SignIn, moderates: bool
) -> None:
    """Else whoever had come in by the password alone would moderate from then on."""
    if moderates:
        reader.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    before, here = sign_in(DESK), sign_in()
    request = here.get(PAGE).wsgi_request
    signals.authenticator_added.send(sender=User, request=request, user=reader, authenticator=None)
    assert [is_in(before), is_in(here)] == [not moderates, True]


def test_who_becomes_a_moderator_is_signed_in_there_only(reader: User, sign_in: SignIn) -> None:
    _made, address = invitation_make(by=None, email=reader.email, link=lambda token: f"/invitations/{token}/")
    before, here = sign_in(DESK), sign_in()
    assert here.post(address).status_code == 302
    assert [is_in(before), is_in(here)] == [False, True]


def test_a_factor_added_and_codes_with_it_are_told_of_once(reader: User, sign_in: SignIn) -> None:
    sign_in(DESK)
    here = sign_in()
    request = here.get(PAGE).wsgi_request
    for signal in (signals.authenticator_added, signals.authenticator_reset):
        signal.send(sender=User, request=request, user=reader, authenticator=None)
    assert len(list(get_messages(request))) == 1


def test_the_list_goes_with_the_sessions(reader: User, sign_in: SignIn) -> None:
    gone, stays = sign_in(), sign_in()
    Session.objects.filter(pk=gone.session.session_key).delete()
    assert traces_age() == 1
    assert [row.session_key for row in UserSession.objects.all()] == [stays.session.session_key]


def test_it_is_reached_from_the_account(reader: User, sign_in: SignIn) -> None:
    assert f'href="{PAGE}"' in sign_in().get("/account/own/").content.decode()
