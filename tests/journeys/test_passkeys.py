"""A passkey as second factor and as the way in, with the browser's own virtual authenticator."""

from __future__ import annotations

from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.auth.models import Group
from playwright.sync_api import BrowserContext, Page, expect

from registry.permissions import MODERATORS, may
from tests.journeys.conftest import PASSWORD, person, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def as_in_production(settings: Any) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = True
    settings.MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = True  # no TLS here; browsers allow localhost


def with_authenticator(context: BrowserContext) -> Page:
    page = context.new_page()
    client = context.new_cdp_session(page)
    client.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
        "isUserVerified": True, "automaticPresenceSimulation": True,
    }  # fmt: skip
    client.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    return page


def test_moderator_without_a_second_factor_is_none_and_a_passkey_is_one(
    desk: BrowserContext, live_server: Any
) -> None:
    user = person("moderator")
    user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    page = with_authenticator(desk)
    problems: list[str] = []
    page.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    sign_in(page, live_server, user)
    assert page.goto(f"{live_server.url}/desk/").status == 403  # type: ignore[union-attr]
    expect(page.locator("main")).to_contain_text("second factor")
    problems.clear()  # the browser notes the 403 as an error
    page.goto(f"{live_server.url}/account/2fa/webauthn/add/")
    page.fill("[name=password]", PASSWORD)  # asked once more before a key is added
    page.click("main form button.main-button")
    page.wait_for_load_state()  # the button gets its act then
    page.fill("[name=name]", "phone")
    page.check("[name=passwordless]")
    page.click("#mfa_webauthn_add")
    page.wait_for_url(lambda url: "/add/" not in url)
    assert Authenticator.objects.filter(user=user, type="webauthn").count() == 1
    assert may(user, "moderate")
    assert page.goto(f"{live_server.url}/desk/").status == 200  # type: ignore[union-attr]
    # the way in without a password
    page.click("header form button")
    page.click("main form button.main-button")
    page.goto(f"{live_server.url}/account/login/?next=/desk/")
    page.click("#passkey_login")
    page.wait_for_url(f"{live_server.url}/desk/")
    # the way in with a password asks for the passkey too
    page.click("header form button")
    page.click("main form button.main-button")
    page.goto(f"{live_server.url}/account/login/")
    page.fill("[name=login]", user.email)
    page.fill("[name=password]", PASSWORD)
    page.click("main form button.main-button")
    page.wait_for_url("**/account/2fa/authenticate/**")
    page.click("#mfa_webauthn_authenticate")
    page.wait_for_url(f"{live_server.url}/")
    assert problems == []
