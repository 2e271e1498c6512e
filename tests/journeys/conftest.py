"""A headless browser for the walks, and people who can sign in."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from registry.models import User
from registry.services.accounts import workshop_join
from tests.machine import chromium_path

PASSWORD = "a long pass phrase"
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}
expect.set_options(
    timeout=30_000
)  # as every other wait: two cores are shared, and a failed expect isn't walked again


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # Playwright's synchronous face runs a loop of its own in this thread; Django takes that for async code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport=PHONE, has_touch=True)
    yield context
    context.close()


@pytest.fixture
def desk(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport=DESK)
    yield context
    context.close()


def person(name: str, workshop: str = "") -> User:
    """An account with a verified address."""
    user = User.objects.create_user(f"{name}@workshop.example", PASSWORD)
    EmailAddress.objects.create(user=user, email=user.email, verified=True, primary=True)
    if workshop:
        workshop_join(by=user, name=workshop)
    return user


def sign_in(page: Page, server: Any, user: User) -> None:
    page.goto(f"{server.url}/account/login/")
    page.fill("[name=login]", user.email)
    page.fill("[name=password]", PASSWORD)
    page.click("main form button.main-button")
    page.wait_for_url(f"{server.url}/")


def wait_for_promise(page: Page, script: str, seconds: float = 30) -> None:
    """Until it comes out true; `wait_for_function` takes the promise itself for true, and doesn't wait."""
    until = time.monotonic() + seconds
    while not page.evaluate(script):
        assert time.monotonic() < until, script
        page.wait_for_timeout(50)
