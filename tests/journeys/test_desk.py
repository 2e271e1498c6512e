"""A moderator at the desk: settles what waits, by keyboard; undo restores charts to the byte."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.auth.models import Group
from playwright.sync_api import Browser, BrowserContext, Page

from registry.models import Decision, Design, Dispute, Sheet, User
from registry.permissions import MODERATORS
from registry.selectors.queue import queue
from registry.services.disputes import dispute_open
from tests.journeys.conftest import DESK, PHONE, person, sign_in
from tests.registry.moderation.made import made_design, made_sheet, mirrored, newest, pattern

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def no_waiting(settings: Any) -> None:
    settings.BENCHQUORUM_REPLY_DAYS = 0


def moderator(name: str = "moderator") -> User:
    user = person(name)
    user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    return user


def faulty(readings: dict[tuple[str, str], str], line: str = "4") -> dict[tuple[str, str], str]:
    """One line broken in the unit."""
    return {(position, pin): "OL" if pin == line else text for (position, pin), text in readings.items()}


@pytest.fixture
def world() -> tuple[Design, list[User]]:
    people = [person(f"reader{n}", f"yard {n}") for n in range(5)]
    design = made_design(people[0])
    for reader in people:
        made_sheet(reader, design)
    return design, people


def at_desk(context: BrowserContext, server: Any, user: User) -> Page:
    page = context.new_page()
    sign_in(page, server, user)
    page.goto(f"{server.url}/desk/")
    return page


def open_case(page: Page, text: str) -> None:
    page.locator(".cases a", has_text=text).first.click()
    page.locator("#case-head").wait_for()


def decide(page: Page, key: str, reason: str = "") -> None:
    """By keyboard alone: the letter, then the reason where none is there, then Enter."""
    page.wait_for_load_state()  # a key that is pressed before the page's module is there moves nothing
    page.locator("main").press(key)
    if reason:
        page.locator("#reason").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type(reason)
    with page.expect_navigation():  # the page before may say that something was done too
        page.keyboard.press("Control+Enter" if reason else "Enter")
    page.locator(".messages .success").wait_for()


def take_back(page: Page) -> None:
    page.wait_for_load_state()
    page.locator("main").press("u")
    page.get_by_text("Taken back. What was there before is there again.").wait_for()


def stored(design: Design) -> tuple[str, bytes]:
    revision = newest(design)
    return revision.digest, bytes(revision.content)


def test_moderator_settles_a_mirrored_sheet_and_undo_restores_the_chart(
    desk: BrowserContext, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    made_sheet(people[4], design, mirrored(pattern()))
    before = stored(design)
    page = at_desk(desk, live_server, moderator())
    assert "from the other face" in page.locator(".case .says").first.inner_text()
    assert "What the chart would become" in page.locator(".case").inner_text()
    decide(page, "c")
    assert stored(design) != before
    take_back(page)
    assert stored(design) == before


def test_moderator_settles_a_faulty_unit(
    desk: BrowserContext, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    sheet = made_sheet(people[4], design, faulty(pattern()))
    assert Sheet.objects.get(pk=sheet.pk).finding.finding == "faulty_unit"
    before = stored(design)
    page = at_desk(desk, live_server, moderator())
    open_case(page, "fault of the unit")
    decide(page, "s")
    assert stored(design) != before
    take_back(page)
    assert stored(design) == before


def test_moderator_settles_a_dispute_with_its_thread(
    desk: BrowserContext, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    clean = stored(design)
    cell = {"position": "R", "pin": "4", "against": "1"}
    dispute_open(by=people[1], target_kind="cell", target_uuid=design.uuid, target_cell=cell,
                 reason="Mine reads open there.")  # fmt: skip
    before = stored(design)
    page = at_desk(desk, live_server, moderator())
    open_case(page, "Mine reads open there.")
    page.locator(".thread textarea").fill("Which year is it?")
    page.locator(".thread button").click()
    page.locator(".thread", has_text="Which year is it?").wait_for()
    decide(page, "n", "Five read it closed.")
    assert stored(design) == clean
    take_back(page)
    assert stored(design) == before
    assert Dispute.objects.get().state == "open"


def test_moderator_merges_a_double_and_undo_restores_both(
    desk: BrowserContext, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    double = made_design(people[0], "Ferry-selector twelve")
    made_sheet(people[1], double)
    before = stored(design), stored(double)
    page = at_desk(desk, live_server, moderator())
    open_case(page, "Ferry-selector twelve")
    page.locator("[name=asked_merge_designs]").fill(design.name)
    decide(page, "g", "The same plug, written in two ways.")
    double.refresh_from_db()
    assert double.merged_into == design
    assert stored(design) != before[0]
    take_back(page)
    assert (stored(design), stored(double)) == before


def test_ten_cases_by_keyboard_alone(
    desk: BrowserContext, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    for n in range(6):
        made_sheet(people[n % 5], design, mirrored(pattern()))
    for n, line in enumerate("2345"):
        made_sheet(people[n], design, faulty(pattern(), line))
    ours = moderator()
    page = at_desk(desk, live_server, ours)
    page.locator("#kind").select_option("sheet")
    page.locator(".filter button").click()
    page.wait_for_url("**kind=sheet**")
    settled = 0
    while settled < 10 and page.locator("[data-decide]").count():
        key = "c" if page.locator("[data-key=c]").count() else "k"
        decide(page, key)
        settled += 1
    assert Decision.objects.filter(state="in_force", proposer=ours).count() == 10
    assert not [case for case in queue() if case.kind == "sheet"]


def test_two_moderators_on_one_case(
    browser: Browser, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    made_sheet(people[4], design, mirrored(pattern()))
    contexts = [browser.new_context(viewport=DESK) for _ in range(2)]
    first, second = (
        at_desk(context, live_server, moderator(name))
        for context, name in zip(contexts, ("first", "second"), strict=True)
    )
    second.locator("#reason").fill("My own words.")
    decide(first, "c")
    second.locator("[data-key=s]").check()
    second.locator(".decide .main-button").click()
    second.get_by_text("Nothing was overwritten").wait_for()
    assert second.locator("#reason").input_value() == "My own words."
    assert Decision.objects.count() == 1
    for context in contexts:
        context.close()


def test_desk_works_without_javascript(
    browser: Browser, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    made_sheet(people[4], design, mirrored(pattern()))
    context = browser.new_context(viewport=DESK, java_script_enabled=False)
    page = at_desk(context, live_server, moderator())
    page.get_by_label("Correct: number the lines").check()
    page.locator(".decide .main-button").click()
    assert "It is in force." in page.locator(".messages .success").inner_text()
    context.close()


def test_desk_is_accessible_and_fits(
    browser: Browser, live_server: Any, world: tuple[Design, list[User]]
) -> None:
    design, people = world
    sheet = made_sheet(people[4], design, mirrored(pattern()))
    dispute = dispute_open(by=people[1], target_kind="sheet", target_uuid=sheet.uuid, reason="Odd.")
    part = design.part_numbers.get()
    addresses = [
        "/desk/", f"/desk/dispute/{dispute.uuid}/", f"/desk/design/{design.uuid}/", "/desk/accounts/",
        f"/desk/accounts/{people[4].contributor.uuid}/", "/desk/catalogue/", "/desk/log/",
        f"/desk/catalogue/designs/{design.uuid}/", f"/desk/catalogue/parts/{part.uuid}/", "/wanted/",
        "/notices/",
        f"/disputes/{dispute.uuid}/", f"/disputes/new/sheet/{sheet.uuid}/", f"/designs/{design.uuid}/matrix/",
    ]  # fmt: skip
    context = browser.new_context(viewport=PHONE)
    page = at_desk(context, live_server, moderator())
    wrong = []
    for address in addresses:
        page.goto(live_server.url + address)
        for size, scheme in ((PHONE, "light"), (DESK, "dark")):
            page.set_viewport_size(size)
            page.emulate_media(color_scheme=scheme)
            if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                wrong.append(f"{address} scrolls sideways at {size['width']}")
            wrong += [
                f"{address}: {v['id']} {v['nodes'][0]['html'][:90]}"
                for v in Axe().run(page).response["violations"]
            ]
    context.close()
    assert not wrong, "\n".join(wrong)
