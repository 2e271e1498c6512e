"""What a sheet costs in key-presses and taps, counted by the page itself: seven positions, five lines."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from registry.models import Design, Sheet
from tests.journeys.conftest import person, sign_in
from tests.registry.pages.made import made_design

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
POSITIONS = (
    ("P", "park"), ("R", "reverse"), ("N", "neutral"), ("D", "drive"),
    ("3", "third"), ("2", "second"), ("1", "first"),
)  # fmt: skip
CLOSED = {"P": "26", "R": "346", "N": "256", "D": "35", "3": "2345", "2": "46", "1": "23456"}
LINES = "23456"
MOST_KEYS = 45  # beyond the readings and the one key that ends each
MOST_TAPS = 2  # a reading
COUNTED = """() => {
  sessionStorage.setItem("presses", "[]");
  const note = (name) => (event) => {
    if (!event.isTrusted) return;
    const noted = JSON.parse(sessionStorage.getItem("presses"));
    sessionStorage.setItem("presses", JSON.stringify([...noted, [name, event.key ?? ""]]));
  };
  addEventListener("keydown", note("key"), true);
  addEventListener("pointerdown", note("tap"), true);
}"""


@pytest.fixture
def design(live_server: Any) -> Design:
    positions = [
        {"label": label, "name": name, "releases_starter": label in "PN"} for label, name in POSITIONS
    ]
    return made_design(person("proposer"), positions=positions)


def noted(page: Page) -> list[list[str]]:
    """[kind, key] of every press and tap since counting began."""
    return page.evaluate("() => JSON.parse(sessionStorage.getItem('presses'))")  # type: ignore[no-any-return]


def opened(context: BrowserContext, server: Any, design: Design) -> Page:
    page = context.new_page()
    sign_in(page, server, person("contributor", "Ferry Slip"))
    page.goto(f"{server.url}/designs/{design.uuid}/bench/")
    page.evaluate(COUNTED)
    return page


def tab_to(page: Page, selector: str) -> None:
    for _ in range(40):
        if page.evaluate("s => document.activeElement.matches(s)", selector):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} can't be reached by Tab")


def test_seven_by_five_by_keyboard_alone(desk: BrowserContext, live_server: Any, design: Design) -> None:
    """Each press from the opened page to the sent sheet counts, but for what a meter showed and its end."""
    page = opened(desk, live_server, design)
    tab_to(page, "[name=unit_key]")
    page.keyboard.type("f2")
    tab_to(page, "[name=measured_it_myself]")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.locator("#one")).to_be_visible()
    before = len(noted(page))
    readings = 0
    for pin in LINES:
        for position, _name in POSITIONS:
            shut = pin in CLOSED[position]
            page.keyboard.type("0.4" if shut else "o")
            if shut:
                page.keyboard.press("Enter")
            readings += 4 if shut else 1
    assert len(noted(page)) - before == readings  # nothing besides them while reading
    expect(page.locator("#send")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    presses = noted(page)
    assert not [press for press in presses if press[0] == "tap"]
    assert len(presses) - readings <= MOST_KEYS
    kept = Sheet.objects.get(contributor__user__email="contributor@workshop.example")
    assert kept.versions.get(is_current=True).readings.count() == 35


def test_seven_by_five_by_touch(phone: BrowserContext, live_server: Any, design: Design) -> None:
    page = opened(phone, live_server, design)
    page.fill("[name=unit_key]", "f2")
    page.check("[name=measured_it_myself]")
    page.tap("#start")
    before = len(noted(page))
    for n, pin in enumerate(LINES):
        for m, (position, _name) in enumerate(POSITIONS):
            expect(page.locator("#progress")).to_have_text(f"{7 * n + m + 1} of 35")
            page.tap("[data-take=cont]" if pin in CLOSED[position] else "[data-take=open]")
            taps = [press for press in noted(page)[before:] if press[0] == "tap"]
            assert len(taps) <= MOST_TAPS * (7 * n + m + 1)
    expect(page.locator("#send")).to_be_visible()
    page.tap("#send")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    kept = Sheet.objects.get(contributor__user__email="contributor@workshop.example")
    assert kept.versions.get(is_current=True).readings.count() == 35


@pytest.mark.parametrize("size", [{"width": 390, "height": 844}, {"width": 1280, "height": 800}])
def test_all_keys_are_in_sight_without_scrolling(
    browser: Any, live_server: Any, design: Design, size: dict[str, int]
) -> None:
    context = browser.new_context(viewport=size, has_touch=True)
    page = opened(context, live_server, design)
    page.check("[name=measured_it_myself]")
    page.tap("#start")
    expect(page.locator("#one")).to_be_visible()
    below = page.evaluate(
        "() => [...document.querySelectorAll('.keys button')]"
        ".filter(k => k.getBoundingClientRect().bottom > innerHeight).map(k => k.textContent)"
    )
    context.close()
    assert below == []
