"""Every page, at both widths, light and dark: no axe violation, no sideways scroll, at most 100 kB."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import Group
from playwright.sync_api import Browser, BrowserContext, Page

from registry.models import User
from registry.permissions import MODERATORS
from registry.services.disputes import dispute_open
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.vehicles import vehicle_add
from tests.journeys.conftest import DESK, PHONE, person, sign_in
from tests.journeys.pages import all_pages
from tests.registry.pages.made import made_design, made_evidence, made_sheet, readings
from tests.registry.services.jobs.made import started, walked

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MOST_BYTES = 100_000
WHO = ("guest", "contributor", "moderator")
People = Callable[..., BrowserContext]


@pytest.fixture
def contributor(live_server: Any) -> User:
    """Somebody with sheets, a vehicle and a job, designs with and without a common, cases that wait."""
    user = person("contributor", "Ferry Slip")
    design = made_design(user)
    made_sheet(user, design)
    readers = made_evidence(design, people=5)
    made_sheet(readers[0], design, "odd one", readings=readings(R4="OL", P2="OL"))
    paired = made_design(user, "Winch selector", common=None)
    made_sheet(user, paired, "winch")
    cell = {"position": "R", "pin": "4", "against": "1"}
    dispute_open(
        by=readers[1], target_kind="cell", target_uuid=design.uuid, target_cell=cell, reason="Open in mine."
    )
    fleet = organisation_make(by=user, body={"name": "Ferry Slip"})
    vehicle_add(
        by=user, organisation=fleet, body={"label": "sweeper 3", "design": str(design.uuid), "km": 9e4}
    )
    walked(started(user, design), user)
    return user


@pytest.fixture
def people(browser: Browser, live_server: Any, contributor: User) -> Iterator[People]:
    """Somebody of each role, signed in, with a browser of their own in a language."""
    moderator = person("moderator")
    moderator.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    users = {"guest": None, "contributor": contributor, "moderator": moderator}
    contexts = []

    def made(who: str, language: str = "en") -> BrowserContext:
        context = browser.new_context(viewport=PHONE, locale=language)
        contexts.append(context)
        user = users[who]
        if user is not None:
            sign_in(context.new_page(), live_server, user)
        return context

    yield made
    for context in contexts:
        context.close()


@pytest.mark.parametrize("who", WHO)
def test_every_page_is_accessible_fits_and_weighs_little(people: People, live_server: Any, who: str) -> None:
    wrong, context = [], people(who)
    pages = [page for page in all_pages() if page.who == who]
    assert len(pages) > 8
    for page in pages:
        tab = context.new_page()
        received = _weigh(context.new_cdp_session(tab))
        tab.goto(live_server.url + page.path, wait_until="networkidle")
        found = [] if received[0] <= MOST_BYTES else [f"weighs {received[0]} bytes"]
        for size, scheme in ((PHONE, "light"), (PHONE, "dark"), (DESK, "light"), (DESK, "dark")):
            tab.set_viewport_size(size)
            tab.emulate_media(color_scheme=scheme)
            found += [*_axe(tab), *_width(tab)]
        wrong += [f"{page.name}: {text}" for text in found]
        tab.close()
    assert wrong == []


@pytest.mark.parametrize("who", WHO)
@pytest.mark.parametrize("language", ["de", "es"])
def test_every_page_speaks_the_language_and_fits_in_its_longer_words(
    people: People, live_server: Any, who: str, language: str
) -> None:
    wrong, context = [], people(who, language)
    tab = context.new_page()
    for page in all_pages():
        if page.who != who:
            continue
        tab.goto(live_server.url + page.path)
        said = tab.evaluate("document.documentElement.lang")
        found = [*_axe(tab), *_width(tab), *([] if said == language else [f"is in {said}"])]
        wrong += [f"{page.name}: {text}" for text in found]
    assert wrong == []


def test_one_reading_at_a_time_is_accessible(browser: Browser, live_server: Any, contributor: User) -> None:
    context = browser.new_context(viewport=PHONE)
    tab = context.new_page()
    sign_in(tab, live_server, contributor)
    tab.goto(live_server.url + next(page.path for page in all_pages() if page.name == "bench"))
    tab.fill("[name=unit_key]", "another")
    tab.click("#start")
    tab.click("[data-take=open]")
    assert _axe(tab) == []
    keys = tab.locator(".keys button").all()
    small = [key.inner_text() for key in keys if min(_box(key)) < 44]
    assert small == []
    assert tab.evaluate("document.getElementById('one').scrollHeight <= innerHeight")
    context.close()


def test_forced_colours_keep_frames_and_contacts(
    browser: Browser, live_server: Any, contributor: User
) -> None:
    context = browser.new_context(viewport=PHONE, forced_colors="active")
    tab = context.new_page()
    tab.goto(live_server.url + next(page.path for page in all_pages() if page.name == "design"))
    styles = tab.evaluate(
        "[...document.querySelectorAll('a.cell')].map(c => [getComputedStyle(c).borderStyle,"
        " getComputedStyle(c.querySelector('svg')).stroke])"
    )
    assert styles
    assert all(border in ("solid", "dashed", "dotted") for border, _stroke in styles)
    assert all(stroke != "none" for _border, stroke in styles)
    context.close()


def test_chart_prints_on_one_page_of_a4_and_letter(
    browser: Browser, live_server: Any, contributor: User
) -> None:
    tab = browser.new_page()
    tab.goto(live_server.url + next(page.path for page in all_pages() if page.name == "design"))
    for paper in ("A4", "Letter"):
        assert len(re.findall(rb"/Type /Page\b", tab.pdf(format=paper))) == 1
    tab.close()


def _axe(tab: Page) -> list[str]:
    found = Axe().run(tab).response["violations"]
    return [f"{v['id']}: {[node['html'][:120] for node in v['nodes'][:2]]}" for v in found]


def _width(tab: Page) -> list[str]:
    over = tab.evaluate("document.documentElement.scrollWidth - innerWidth")
    return [f"scrolls sideways by {over} px"] if over > 0 else []


def _box(key: Any) -> tuple[float, float]:
    box = key.bounding_box()
    return box["width"], box["height"]


def _weigh(client: Any) -> list[int]:
    """Counts what comes over the wire from now on, nothing taken from a cache."""
    received = [0]

    def add(event: dict[str, Any]) -> None:
        received[0] += int(event["encodedDataLength"])

    client.send("Network.enable")
    client.send("Network.setCacheDisabled", {"cacheDisabled": True})
    client.on("Network.loadingFinished", add)
    return received
