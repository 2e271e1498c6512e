"""A job as a mechanic walks it on a phone: from a dead vehicle to a verified repair, nothing typed twice."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect

from registry.models import Design, Job, Sheet
from tests.journeys.conftest import person, sign_in
from tests.journeys.test_main_job import take_all
from tests.registry.pages.made import CLOSED, PINS, made_design, made_evidence, reading_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SHOTS = os.environ.get("BENCHQUORUM_SHOTS", "")


@pytest.fixture
def design(live_server: Any) -> Design:
    made = made_design(person("proposer"))
    made_evidence(made, people=5)
    return made


def seen(page: Page, name: str) -> None:
    """Every page of the walk passes axe and fits the width; pictures of them where a folder is named."""
    page.wait_for_load_state()
    found = Axe().run(page).response["violations"]
    told = [f"{v['id']}: {[node['html'][:160] for node in v['nodes'][:2]]}" for v in found]
    over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    if SHOTS:
        Path(SHOTS).mkdir(exist_ok=True)
        page.screenshot(path=Path(SHOTS) / f"{name}-390.png", full_page=True)
        page.set_viewport_size({"width": 1280, "height": 800})
        page.screenshot(path=Path(SHOTS) / f"{name}-1280.png", full_page=True)
        page.set_viewport_size({"width": 390, "height": 844})
    assert told == [] and over <= 0, (name, told, over)


def typed(page: Page) -> list[str]:
    """What the person typed so far: fields of words and figures, by their names."""
    return page.typed  # type: ignore[attr-defined,no-any-return]


def fill(page: Page, name: str, text: str) -> None:
    typed(page).append(name)
    page.fill(f"[name={name}]", text)


def next_step(page: Page, step: str) -> None:
    expect(page.locator("a.main-button")).to_contain_text(step)
    with page.expect_navigation():
        page.tap("a.main-button")


def told_symptom(page: Page, live_server: Any, design: Design) -> Job:
    """From the page that one reads before pulling it."""
    page.goto(f"{live_server.url}/jobs/new/?symptom=silent&design={design.uuid}")
    seen(page, "new")
    fill(page, "vehicle", "Sweeper 7")
    fill(page, "distance", "120000")
    page.tap("main form .main-button")
    page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}/$"))
    seen(page, "card")
    return Job.objects.get()


def taken_out(page: Page) -> None:
    next_step(page, "Other causes ruled out")
    page.check("[name=c-battery][value='1']")
    page.check("[name=c-neutral][value='1']")
    seen(page, "ruled-out")
    page.tap("[name=act][value=do]")

    next_step(page, "Prepared")
    page.check("[name=ready][value=part]")
    page.check("[name=ready][value=tools]")
    seen(page, "prepared")
    page.tap("[name=act][value=do]")

    next_step(page, "Removed")
    expect(page.locator("[name=distance]")).to_have_value("120000")
    page.check("[name=old_unit_since][value=vehicle]")
    seen(page, "removed")
    page.tap("[name=act][value=do]")


def old_unit_read(page: Page) -> None:
    """The suspect: one reading at a time, the verdict, and kept in the job."""
    next_step(page, "Old unit read and checked")
    seen(page, "old-unit")
    page.tap("a.main-button")
    page.locator("summary", has_text="The meter").click()
    fill(page, "lead_ohm", "0.2")
    page.tap("#start")
    take_all(page, N5="open", D5="open", L5="open")
    expect(page.locator("#comparison")).to_contain_text("Faulty")
    page.check("[name=measured_it_myself]")
    seen(page, "check")
    page.tap("button[value=keep]")
    page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}/$"))
    expect(page.locator("main")).to_contain_text("Faulty")


def new_unit_read(page: Page) -> None:
    """Before it goes in: the pattern stays hidden until the last reading."""
    next_step(page, "New unit read before fitting")
    seen(page, "new-unit")
    page.tap("a.main-button")
    expect(page.locator("[name=lead_ohm]")).to_have_value("0.2")
    assert "closed in" not in page.locator("main").inner_text()
    page.check("[name=source_class][value=original]")
    page.check("[name=measured_it_myself]")
    seen(page, "bench")
    page.tap("#start")
    take_all(page)
    expect(page.locator("#comparison")).to_contain_text("25 of 25 readings agree")
    expect(page.locator("#send")).to_have_text("Keep it in the job")
    page.tap("#send")
    page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}/$"))


def positions_tried(page: Page, design: Design, *also_starts: str) -> None:
    """Every position after fitting; it starts where it should, and in those named."""
    for word in ("stationary", "chocked", "clear", "seat"):
        page.check(f"[name=ready][value={word}]")
    for position in design.positions.all():
        starts = position.releases_starter or position.label in also_starts
        page.check(f"[name=s-{position.step}][value={'turned' if starts else 'silent'}]")
        page.check(f"[name=o-{position.step}][value=yes]")
        page.check(f"[name=b-{position.step}][value=yes]")
    page.check("[name=codes][value=none]")


def fitted_and_verified(page: Page, design: Design, job: Job) -> None:
    """A start in reverse stops everything, until every position passes."""
    next_step(page, "Fitted")
    expect(page.locator("[name=distance]")).to_have_value("120000")
    seen(page, "fitted")
    page.tap("[name=act][value=do]")

    next_step(page, "Verified after fitting")
    seen(page, "verified")
    positions_tried(page, design, "R")
    with page.expect_navigation():
        page.tap("[name=act][value=do]")
    expect(page.get_by_role("alert")).to_contain_text("STOP. Don't drive.")
    seen(page, "stop")
    job.refresh_from_db()
    assert job.stopped and job.verified_at is None
    positions_tried(page, design)
    page.tap("[name=act][value=do]")


def closed_and_given(page: Page) -> None:
    """Back to the registry: two taps each."""
    next_step(page, "Closed with its outcome")
    page.check("[name=outcome][value=went]")
    seen(page, "close")
    page.tap("[name=act][value=do]")
    page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}/$"))
    for what in ("new_unit", "old_unit", "outcome"):
        with page.expect_navigation():
            page.tap(f"a[href$='/send/{what}/']")
        seen(page, f"send-{what}")
        page.tap("main form .main-button")
        expect(page.locator(".messages:not(#queue-told)")).to_contain_text("Done.")
    seen(page, "card-closed")


def test_from_symptom_to_verified_without_typing_anything_twice(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    mechanic = person("mechanic", "Ferry Slip")
    page = phone.new_page()
    page.typed = []  # type: ignore[attr-defined]
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    sign_in(page, live_server, mechanic)
    job = told_symptom(page, live_server, design)
    taken_out(page)
    old_unit_read(page)
    new_unit_read(page)
    assert not Sheet.objects.filter(contributor__user=mechanic, unit__key__endswith="new").exists()
    fitted_and_verified(page, design, job)
    closed_and_given(page)
    sent = {
        (s.versions.get(is_current=True).purpose, s.versions.get(is_current=True).held_good)
        for s in Sheet.objects.filter(contributor__user=mechanic)
    }
    assert sent == {("suspect", "no"), ("known_good", "new")}
    job.refresh_from_db()
    assert (job.outcome, job.stopped, job.verified_at is not None) == ("went", False, True)
    assert set(job.unit_events.values_list("kind", "distance_km")) == {("failed", 120000.0), ("fitted", 0.0)}
    report = page.request.get(f"{live_server.url}/jobs/{job.uuid}/report.pdf")
    assert report.ok and report.body().startswith(b"%PDF")
    if SHOTS:
        (Path(SHOTS) / "report.pdf").write_bytes(report.body())
    page.goto(f"{live_server.url}/jobs/")
    seen(page, "jobs")
    assert len(typed(page)) == len(set(typed(page))) == 3
    assert problems == []


def test_a_guest_keeps_a_check_and_finds_an_unknown_switch(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    page = phone.new_page()
    page.goto(f"{live_server.url}/jobs/new/")
    page.check("[name=symptom][value=display]")
    page.tap("main form .main-button")
    link = page.locator("#secret").inner_text()
    seen(page, "link")
    page.tap("a.main-button")
    page.get_by_role("link", name="Which switch is this?").click()
    seen(page, "identify")
    pins = " ".join(PINS[1:])
    rows = [f"{p} " + " ".join(reading_of(p, pin) for pin in PINS[1:]) for p in CLOSED]
    page.fill("[name=table]", "\n".join([pins, *rows]))
    page.fill("[name=against]", "1")
    page.get_by_role("button", name="Find it").click()
    seen(page, "identified")
    page.get_by_role("button", name=re.compile("go on with these readings")).first.click()
    expect(page.locator("#r-2-4-1-1-0")).to_have_value("0.4")
    page.tap("#plain-acts button")
    expect(page.locator("#comparison")).to_contain_text("Good")
    page.check("[name=measured_it_myself]")
    page.tap("button[value=keep]")
    page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}/$"))
    seen(page, "card-guest")
    other = phone.browser.new_context()  # type: ignore[union-attr]
    elsewhere = other.new_page()
    assert elsewhere.goto(page.url).status == 404  # type: ignore[union-attr]
    elsewhere.goto(link)
    expect(elsewhere.locator("main")).to_contain_text("Good")
    other.close()
