"""What can't be taken back asks who is there once more; sessions end; cookies are this host's alone."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal import auth as codes
from axes.models import AccessAttempt, AccessLog
from django.conf import settings as live
from django.core.cache import cache
from django.test import Client

from registry.models import ApiToken, CodeUsed, User
from registry.sessions import BEGAN, SEEN
from tests.api.made import made_user
from tests.registry.moderation.made import account

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).parents[3]
WORD, AGAIN = "a long pass phrase", "/account/reauthenticate/"
TOKEN = {"name": "robot", "scopes": ["read"], "days": "30"}
CAREFUL: dict[str, tuple[str, dict[str, Any]]] = {
    "erase": ("/account/own/erase/", {"email": "reader@workshop.example"}),
    "token": ("/account/own/tokens/", TOKEN),
    "address": ("/account/email/", {"email": "other@workshop.example", "action_add": "1"}),
    "totp": ("/account/2fa/totp/activate/", {"code": "123456"}),
    "passkey": ("/account/2fa/webauthn/add/", {"name": "key"}),
}


@pytest.fixture
def signed_in(client: Client, reader: User) -> Client:
    client.force_login(reader, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


@pytest.mark.parametrize("what", CAREFUL)
def test_it_is_asked_who_is_there(signed_in: Client, reader: User, what: str) -> None:
    address, fields = CAREFUL[what]
    before = User.objects.values_list("email", "password").get(pk=reader.pk)
    answer = signed_in.post(address, fields)
    assert answer.status_code == 302 and answer["Location"].startswith(AGAIN), answer["Location"]
    assert User.objects.values_list("email", "password").get(pk=reader.pk) == before
    assert not ApiToken.objects.exists() and not Authenticator.objects.exists()


def test_whoever_says_it_again_goes_on_where_they_were(signed_in: Client, reader: User) -> None:
    there = signed_in.post("/account/own/erase/", {"email": reader.email})["Location"]
    assert signed_in.post(there, {"password": "not this one"}).status_code == 200
    assert User.objects.filter(pk=reader.pk).exists()
    signed_in.post(there, {"password": WORD})
    assert not User.objects.filter(pk=reader.pk).exists()


def test_a_new_password_needs_the_old_one(signed_in: Client, reader: User) -> None:
    new = "an even longer pass phrase"
    for old, taken in (("not this one", False), (WORD, True)):
        fields = {"oldpassword": old, "password1": new, "password2": new}
        signed_in.post("/account/password/change/", fields)
        reader.refresh_from_db()
        assert reader.check_password(new) is taken


def test_a_token_by_the_api_asks_too(signed_in: Client) -> None:
    body = {"name": "robot", "scopes": ["read"]}
    refused = signed_in.post("/api/v1/tokens/", body, content_type="application/json")
    assert refused.status_code == 403 and AGAIN in refused.json()["detail"]
    signed_in.post(AGAIN, {"password": WORD})
    assert signed_in.post("/api/v1/tokens/", body, content_type="application/json").status_code == 201


def test_a_second_factor_is_offered_to_everybody(signed_in: Client) -> None:
    page = signed_in.get("/account/own/").content.decode()
    assert 'href="/account/2fa/"' in page
    offered = signed_in.get("/account/2fa/").content.decode()
    assert "/account/2fa/totp/activate/" in offered and "/account/2fa/webauthn/" in offered


def tried(email: str, word: str) -> Client:
    client = Client()
    client.post("/account/login/", {"login": email, "password": word})
    return client


def test_guesses_lock_the_account_that_was_tried_and_no_colleague(reader: User, settings: Any) -> None:
    """By account and network address together: a workshop behind one address is not locked out as a whole."""
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    settings.ACCOUNT_RATE_LIMITS = False
    made_user("colleague")
    for n in range(live.AXES_FAILURE_LIMIT + 1):
        tried(reader.email if n % 2 else reader.email.upper(), "a wrong pass phrase")
    assert "_auth_user_id" not in tried(reader.email, WORD).session
    assert "_auth_user_id" in tried("colleague@workshop.example", WORD).session
    kept = str([*AccessAttempt.objects.values_list(), *AccessLog.objects.values_list()])
    assert "workshop.example" not in kept.lower() and AccessAttempt.objects.get().username


def tried_from(address: str, word: str) -> bool:
    client = Client(REMOTE_ADDR=address)
    client.post("/account/login/", {"login": "reader@workshop.example", "password": word})
    return "_auth_user_id" in client.session


def test_wrong_words_from_elsewhere_keep_nobody_out(reader: User, settings: Any) -> None:
    """With all limits as they are: the accounts' package would count them by account alone."""
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    cache.clear()
    for _ in range(live.AXES_FAILURE_LIMIT + 1):
        tried_from("192.0.2.66", "a wrong pass phrase")
    assert not tried_from("192.0.2.66", WORD)
    assert tried_from("198.51.100.7", WORD)


def test_who_has_a_network_of_ipv6_is_one_caller(reader: User, settings: Any) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "optional"
    settings.ACCOUNT_RATE_LIMITS = False
    for n in range(live.AXES_FAILURE_LIMIT):
        tried_from(f"2001:db8:1:2::{n}", "a wrong pass phrase")
    assert not tried_from("2001:db8:1:2:ffff::1", WORD)
    assert tried_from("2001:db8:1:3::1", WORD)


BEHIND_A_PROXY = """
import django; django.setup()
from django.core.management import call_command
from django.test import Client, override_settings
call_command("migrate", verbosity=0, interactive=False)
from tests.api.made import made_user
made_user()

def tried(claimed, word):
    client = Client(REMOTE_ADDR="10.0.0.1", headers={"X-Forwarded-For": claimed, "host": "localhost"})
    client.post("/account/login/", {"login": "reader@workshop.example", "password": word})
    return "_auth_user_id" in client.session

with override_settings(ACCOUNT_RATE_LIMITS=False, ACCOUNT_EMAIL_VERIFICATION="optional"):
    for n in range(9):  # what a client says of itself stands before what the proxy saw
        tried(f"198.51.100.{n}, 192.0.2.66", "a wrong pass phrase")
    print(tried("192.0.2.66", "a long pass phrase"), tried("192.0.2.7", "a long pass phrase"))
from axes.models import AccessAttempt
print(*{row.ip_address for row in AccessAttempt.objects.all()})
"""


def test_guesses_from_elsewhere_lock_nobody_out_behind_a_proxy(tmp_path: Path) -> None:
    """Whoever knows an address could otherwise keep its owner out with eight wrong words, from anywhere."""
    environment = {
        "PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), "DJANGO_SETTINGS_MODULE": "registry.settings",
        "BENCHQUORUM_DATA": str(tmp_path), "BENCHQUORUM_PROXIES": "1",
    }  # fmt: skip
    asked = subprocess.run(
        [sys.executable, "-c", BEHIND_A_PROXY], cwd=ROOT, env=environment, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert asked.returncode == 0, asked.stderr
    assert asked.stdout.splitlines() == ["False True", "192.0.2.66"]


def later(client: Client, **ago: float) -> None:
    session = client.session
    session[SEEN], session[BEGAN] = time.time() - ago["seen"] * 3600, time.time() - ago["began"] * 86400
    session.save()


@pytest.mark.parametrize(
    ("seen", "began", "moderator", "stays"),
    [(1, 1, False, True), (71, 4, False, True), (73, 4, False, False), (1, 13.9, False, True),
     (1, 14.1, False, False), (11, 1, True, True), (13, 1, True, False)],
)  # fmt: skip
def test_a_session_ends(client: Client, seen: float, began: float, moderator: bool, stays: bool) -> None:
    client.force_login(account("somebody", moderator=moderator))
    assert client.get("/sheets/").status_code == 200
    later(client, seen=seen, began=began)
    assert (client.get("/sheets/").status_code == 200) is stays


def test_a_page_rarely_writes_to_the_session(signed_in: Client, django_assert_num_queries: Any) -> None:
    signed_in.get("/about/")
    first = signed_in.session[SEEN]
    signed_in.get("/about/")
    assert signed_in.session[SEEN] == first


ASKED = """
import django; django.setup()
from django.conf import settings
from django.test import Client
answer = Client().post("/preferences/", {"language": "de", "distance_unit": "mi"}, secure=True,
                       headers={"host": "registry.example"})
for cookie in answer.cookies.values():
    print(cookie.OutputString())
for kind in ("SESSION", "CSRF"):
    print(*(getattr(settings, f"{kind}_COOKIE_{name}") for name in ("NAME", "SECURE", "PATH", "DOMAIN")))
"""


def test_in_production_cookies_are_this_host_s_alone(tmp_path: Path) -> None:
    environment = {
        "PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), "DJANGO_SETTINGS_MODULE": "registry.settings",
        "BENCHQUORUM_DATA": str(tmp_path), "BENCHQUORUM_SECRET_KEY": "d8Jq-2lPz0" * 6,
        "BENCHQUORUM_TLS": "true", "BENCHQUORUM_HOSTS": "registry.example",
    }  # fmt: skip
    asked = subprocess.run(
        [sys.executable, "-c", ASKED], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert asked.returncode == 0, asked.stderr
    *cookies, session, csrf = asked.stdout.splitlines()
    assert session == "__Host-sessionid True / None" and csrf == "__Host-csrftoken True / None"
    assert {cookie.split("=")[0] for cookie in cookies} == {"__Host-language", "__Host-distance_unit"}
    for cookie in cookies:
        assert "; Secure" in cookie and "; Path=/" in cookie and "Domain" not in cookie, cookie


def test_what_concerns_an_account_is_kept_nowhere_and_nothing_is_lent_to_other_sites(
    signed_in: Client,
) -> None:
    assert signed_in.get("/account/own/")["Cache-Control"] == "no-store"
    assert signed_in.get("/")["Cross-Origin-Resource-Policy"] == "same-origin"
    assert live.COOKIE_PREFIX == ""  # a copy of one's own has no TLS


def test_a_code_is_taken_once_whatever_the_cache_does(reader: User) -> None:
    """Each server process has a cache of its own in its default, and a shared one may be away."""
    secret = codes.generate_totp_secret()
    factor = codes.TOTP.activate(reader, secret)
    now = next(iter(codes.yield_hotp_counters_from_time()))
    code = codes.format_hotp_value(codes.hotp_value(secret, now))
    assert factor.validate_code(code)
    cache.clear()
    assert not factor.validate_code(code)
    assert code not in str(list(CodeUsed.objects.values()))
