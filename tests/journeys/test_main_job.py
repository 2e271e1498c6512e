"""The main job as a contributor walks it: enter a sheet, see how it compares, see the chart change."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from registry.models import Design, Sheet
from tests.journeys.conftest import person, sign_in, wait_for_promise
from tests.registry.pages.made import CLOSED, PINS, made_design, made_evidence

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def design(live_server: Any) -> Design:
    made = made_design(person("proposer"))
    made_evidence(made, people=4)
    return made


def set_up(page: Page, server: Any, design: Design, unit: str) -> None:
    page.goto(f"{server.url}/designs/{design.uuid}/bench/")
    page.fill("[name=unit_key]", unit)
    page.fill("[name=lead_ohm]", "0.1")
    page.check("[name=measured_it_myself]")
    page.click("#start")


def take_all(page: Page, **changed: str) -> None:
    """Every reading by its own key; one press for open and continuity."""
    for pin in PINS[1:]:
        for position in CLOSED:
            state = changed.get(f"{position}{pin}", "cont" if pin in CLOSED[position] else "open")
            page.tap(f"[data-take={state}]")


def test_contributor_enters_a_sheet_and_the_chart_and_api_show_it(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    contributor = person("contributor", "Ferry Slip")
    page = phone.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    sign_in(page, live_server, contributor)
    page.goto(f"{live_server.url}/designs/{design.uuid}/")
    expect(page.locator("p.lead")).to_contain_text("provisional")
    set_up(page, live_server, design, "ferry 2")
    expect(page.locator("#ask")).to_have_text("Pin 2, park")
    expect(page.locator("#progress")).to_have_text("1 of 25")
    take_all(page, R4="open")  # one reading that no other unit shows
    comparison = page.locator("#comparison")
    expect(comparison).to_contain_text("24 of 25 readings agree with 4 units")
    expect(comparison).to_contain_text("Pin 4 in R reads OL in your unit; closed in 4 of 4 good ones")
    assert (
        Sheet.objects.filter(contributor__user=contributor).count() == 0
    )  # nothing stored before it is sent
    page.click("#send")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    expect(page.locator("main")).to_contain_text("pin 4 in R")
    page.goto(f"{live_server.url}/designs/{design.uuid}/")
    expect(page.locator("p.lead")).to_contain_text("5 units")
    expect(page.locator("p.lead")).to_contain_text("25 cells read are agreed")
    answer = page.request.get(f"{live_server.url}/api/v1/charts/{design.uuid}/")
    assert answer.ok
    variant = json.loads(answer.body())["chart"]["variants"][0]
    cell = next(c for c in variant["cells"] if (c["position"], c["pin"]) == ("R", "4"))
    assert (cell["units"], cell["agreeing"], cell["state"]) == (5, 4, "closed")
    assert problems == []


def test_draft_survives_a_cut_network_and_a_closed_page_and_is_sent_once(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    contributor = person("contributor", "Ferry Slip")
    page = phone.new_page()
    sign_in(page, live_server, contributor)
    set_up(page, live_server, design, "ferry 2")
    for _ in range(7):
        page.tap("[data-take=open]")
    expect(page.locator("#progress")).to_have_text("8 of 25")  # a tap's click comes after the tap
    page.close()
    page = phone.new_page()
    page.goto(f"{live_server.url}/designs/{design.uuid}/bench/")
    expect(page.locator("#draft")).to_contain_text("7 of 25 readings")
    page.click("[data-do=go-on]")
    expect(page.locator("#progress")).to_have_text("8 of 25")
    phone.set_offline(True)
    for _ in range(18):
        page.tap("[data-take=cont]")
    expect(page.locator("#draft")).to_contain_text("No network")
    page.click("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    assert not Sheet.objects.filter(contributor__user=contributor).exists()
    page.close()  # or it would send and tell itself
    phone.set_offline(False)
    page = phone.new_page()
    page.goto(f"{live_server.url}/sheets/")
    expect(page.locator("#queue-told")).to_contain_text("Sent")
    page.goto(f"{live_server.url}/sheets/")  # a second look sends nothing again
    page.wait_for_load_state("networkidle")
    sheet = Sheet.objects.get(contributor__user=contributor)
    assert sheet.versions.get(is_current=True).readings.count() == 25


def test_what_is_changed_after_the_pattern_was_shown_is_a_second_pass(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    contributor = person("contributor", "Ferry Slip")
    page = phone.new_page()
    sign_in(page, live_server, contributor)
    set_up(page, live_server, design, "ferry 2")
    take_all(page, R4="open")
    page.click("[data-again]")
    expect(page.locator("#ask")).to_have_text("Pin 4, reverse")
    page.keyboard.type("0.5")
    page.keyboard.press("Enter")
    expect(page.locator("#comparison")).to_contain_text("25 of 25 readings agree")
    page.click("#send")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    version = Sheet.objects.get(contributor__user=contributor).versions.get(is_current=True)
    late = version.readings.filter(first_pass=False)
    assert [reading.as_typed for reading in late] == ["0.5"]


def test_whole_sheet_by_keyboard_alone(desk: BrowserContext, live_server: Any, design: Design) -> None:
    contributor = person("contributor", "Ferry Slip")
    page = desk.new_page()
    sign_in(page, live_server, contributor)
    page.goto(f"{live_server.url}/designs/{design.uuid}/bench/")
    presses = 0

    def press(key: str) -> None:
        nonlocal presses
        presses += 1
        page.keyboard.press(key)

    def tab_to(selector: str) -> None:
        for _ in range(40):
            if page.evaluate("s => document.activeElement.matches(s)", selector):
                return
            press("Tab")
        raise AssertionError(f"{selector} can't be reached by Tab")

    tab_to("[name=unit_key]")
    page.keyboard.type("ferry 2")
    tab_to("[name=measured_it_myself]")
    press("Space")
    press("Enter")
    expect(page.locator("#one")).to_be_visible()
    for pin in PINS[1:]:
        for position in CLOSED:
            page.keyboard.type("0.4" if pin in CLOSED[position] else "o")
            if pin in CLOSED[position]:
                page.keyboard.press("Enter")
    expect(page.locator("#send")).to_be_focused()
    press("Enter")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    assert presses <= 45
    assert (
        Sheet.objects.get(contributor__user=contributor).versions.get(is_current=True).readings.count() == 25
    )


def test_the_same_without_scripts(browser: Any, live_server: Any, design: Design) -> None:
    contributor = person("contributor", "Ferry Slip")
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server, contributor)
    page.goto(f"{live_server.url}/designs/{design.uuid}/bench/")
    page.fill("[name=unit_key]", "ferry 2")
    page.check("[name=measured_it_myself]")
    page.fill("[name=r-2-4-1-1-0]", "1k2k")
    page.click("#plain-acts button")
    expect(page.locator("#r-2-4-1-1-0-wrong")).to_contain_text("is not a resistance")
    page.fill("[name=r-2-4-1-1-0]", "OL")
    page.click("#plain-acts button")
    expect(page.locator("#comparison")).to_contain_text("0 of 1 readings agree")
    page.fill("[name=r-2-4-1-1-0]", "0.5")
    page.click("#send-acts button[value=send]")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    reading = Sheet.objects.get(contributor__user=contributor).versions.get(is_current=True).readings.get()
    assert (reading.as_typed, reading.first_pass) == ("0.5", False)
    context.close()


def test_bench_sheet_opens_without_a_network_and_across_an_upgrade(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    contributor = person("contributor", "Ferry Slip")
    page = phone.new_page()
    sign_in(page, live_server, contributor)
    wait_for_promise(
        page, "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller !== null)"
    )
    set_up(page, live_server, design, "ferry 2")
    page.tap("[data-take=open]")
    page.tap("[data-take=cont]")
    phone.set_offline(True)
    page.goto(f"{live_server.url}/designs/{design.uuid}/bench/")
    expect(page.locator("#draft")).to_contain_text("2 of 25 readings")
    page.goto(f"{live_server.url}/about/")
    expect(page.locator("h1")).to_have_text("No network")
    phone.set_offline(False)
    # An upgrade: another version of the files is kept, the old one goes; the draft stays.
    page.goto(f"{live_server.url}/sheets/")
    page.evaluate(
        "caches.open('benchquorum-files-older').then(() => navigator.serviceWorker.getRegistration())"
        ".then(r => r.unregister()).then(() => location.reload())"
    )
    page.wait_for_load_state("networkidle")
    wait_for_promise(page, "navigator.serviceWorker.ready.then(() => true)")
    wait_for_promise(page, "caches.keys().then(names => !names.includes('benchquorum-files-older'))")
    page.goto(f"{live_server.url}/designs/{design.uuid}/bench/")
    expect(page.locator("#draft")).to_contain_text("2 of 25 readings")


def test_page_closed_after_every_reading_loses_none(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    contributor = person("contributor", "Ferry Slip")
    page = phone.new_page()
    sign_in(page, live_server, contributor)
    wait_for_promise(
        page, "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller !== null)"
    )
    set_up(page, live_server, design, "ferry 2")
    for n in range(1, 26):
        phone.set_offline(n % 2 == 0)
        # not a tap, whose click comes after it
        page.locator("[data-take=open]").evaluate("key => key.click()")
        page.close()  # at once, as a phone does that runs out of memory
        page = phone.new_page()
        page.goto(f"{live_server.url}/designs/{design.uuid}/bench/")
        expect(page.locator("#draft")).to_contain_text(f"{n} of 25 readings")
        page.click("[data-do=go-on]")
    phone.set_offline(False)
    page.tap("[data-do=take]")
    page.click("#send")
    page.wait_for_url(re.compile(r"/sheets/[0-9a-f-]{36}/$"))
    assert (
        Sheet.objects.get(contributor__user=contributor).versions.get(is_current=True).readings.count() == 25
    )
