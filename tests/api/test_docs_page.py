"""The browsable description runs in a browser under the strict security policy, from our own files alone."""

from __future__ import annotations

from typing import Any

import pytest

from tests.machine import chromium_path

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_it_runs_under_the_policy(live_server: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # playwright's loop lives in this thread
    from playwright.sync_api import sync_playwright

    said: list[str] = []
    hosts: set[str] = set()
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=str(chromium_path()), args=["--no-sandbox"])
        page = browser.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: hosts.add(request.url.split("/")[2]))
        page.goto(f"{live_server.url}/api/v1/docs/")
        page.wait_for_selector(".opblock", timeout=60_000)
        operations = page.locator(".opblock").count()
        browser.close()
    assert operations > 40
    assert said == []
    assert hosts == {live_server.url.split("/")[2]}
