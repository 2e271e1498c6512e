"""The network goes at any step, the page is closed, its files are upgraded: nothing lost, nothing doubled."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, Route, expect

from registry.models import Design, Sheet, User
from registry.pages import worker
from tests.journeys.conftest import person, sign_in, wait_for_promise
from tests.registry.pages.made import made_design, made_evidence

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WORKER_RULES = "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller !== null)"
NOTHING_WAITS = """async () => {
  const { drafts } = await import("/static/benchquorum/bench/drafts.js");
  return (await drafts()).length === 0;
}"""

TWO_KEPT = """async () => {
  const { picturesOf } = await import("/static/benchquorum/bench/pictures.js");
  return (await picturesOf(document.querySelector("[name=client_id]").value))?.length === 2;
}"""


@pytest.fixture
def design(live_server: Any) -> Design:
    made = made_design(person("proposer"))
    made_evidence(made, people=4)
    return made


@pytest.fixture
def page(phone: BrowserContext, live_server: Any) -> Page:
    tab = phone.new_page()
    sign_in(tab, live_server, person("contributor", "Ferry Slip"))
    wait_for_promise(tab, WORKER_RULES)
    return tab


@pytest.fixture
def bench(live_server: Any, design: Design) -> str:
    return f"{live_server.url}/designs/{design.uuid}/bench/"


def mine() -> list[Sheet]:
    return list(Sheet.objects.filter(contributor__user__email="contributor@workshop.example"))


def begin(page: Page, bench: str) -> None:
    page.goto(bench)
    page.fill("[name=unit_key]", "ferry 2")
    page.fill("[name=lead_ohm]", "0.1")
    page.check("[name=measured_it_myself]")
    page.tap("#start")


def take(page: Page, times: int) -> None:
    for _ in range(times):
        page.tap("[data-take=open]")


def reopened(page: Page, address: str) -> Page:
    """The page closed at once, and another opened."""
    context = page.context
    page.close()
    tab = context.new_page()
    tab.goto(address)
    return tab


def sent_once(page: Page, server: Any, readings: int = 25) -> Sheet:
    """With the network back, on any page: one sheet, and still one after a second look."""
    page.context.set_offline(False)
    page.goto(f"{server.url}/sheets/")
    wait_for_promise(page, NOTHING_WAITS)
    page.goto(f"{server.url}/sheets/")
    page.wait_for_load_state("networkidle")
    (sheet,) = mine()
    assert sheet.versions.get(is_current=True).readings.count() == readings
    return sheet


def test_network_goes_before_the_first_reading(page: Page, live_server: Any, bench: str) -> None:
    page.goto(bench)
    page.context.set_offline(True)
    page = reopened(page, bench)
    begin(page, bench)
    take(page, 25)
    expect(page.locator("#draft")).to_contain_text("No network")
    page.tap("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    sent_once(reopened(page, bench), live_server)


def test_network_goes_when_comparing(page: Page, live_server: Any, bench: str) -> None:
    begin(page, bench)
    take(page, 24)
    page.context.set_offline(True)
    take(page, 1)
    expect(page.locator("#draft")).to_contain_text("No network")
    page = reopened(page, bench)
    expect(page.locator("#draft")).to_contain_text("25 of 25 readings")
    page.click("[data-do=go-on]")
    page.context.set_offline(False)
    page.tap("[data-do=take]")
    expect(page.locator("#comparison")).to_contain_text("agree with 4 units")
    page.context.set_offline(True)
    page.tap("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    sent_once(reopened(page, bench), live_server)


def test_request_is_lost(page: Page, live_server: Any, bench: str) -> None:
    """Cut as it goes out: it never arrives."""
    begin(page, bench)
    take(page, 25)
    expect(page.locator("#send")).to_be_focused()
    page.route("**/bench/", lambda route: route.abort("internetdisconnected"))
    page.tap("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    assert mine() == []
    page.context.set_offline(True)
    sent_once(reopened(page, bench), live_server)


def test_answer_is_lost(page: Page, live_server: Any, bench: str) -> None:
    """Cut after it arrived: sent again, it is still one sheet with its one picture."""
    begin(page, bench)
    take(page, 25)
    expect(page.locator("#send")).to_be_focused()
    page.evaluate("document.getElementById('whole-table').click()")
    page.set_input_files("#pictures", photo())
    lost = []

    def store_and_cut(route: Route) -> None:
        route.fetch(max_redirects=0)
        lost.append(route.request.url)
        route.abort("connectionreset")

    page.route("**/bench/", store_and_cut)
    page.click("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    assert lost
    (first,) = mine()
    page.context.set_offline(True)
    sheet = sent_once(reopened(page, bench), live_server)
    assert sheet.pk == first.pk
    assert sheet.pictures.count() == 1


def test_pictures_taken_offline_wait_and_go_with_their_sheet(
    page: Page, live_server: Any, bench: str
) -> None:
    page.goto(bench)
    page.context.set_offline(True)
    page = reopened(page, bench)
    page.fill("[name=unit_key]", "ferry 2")
    page.check("[name=measured_it_myself]")
    page.evaluate("document.getElementById('whole-table').click()")
    page.set_input_files("#pictures", photo("teal") + photo("navy"))
    wait_for_promise(page, TWO_KEPT)
    page.tap("#start")
    take(page, 3)
    expect(page.locator("#progress")).to_have_text("4 of 25")
    page = reopened(page, bench)
    page.click("[data-do=go-on]")
    expect(page.locator("#progress")).to_have_text("4 of 25")
    page.wait_for_function("document.getElementById('pictures').files.length === 2")
    take(page, 22)
    page.tap("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    sheet = sent_once(reopened(page, bench), live_server)
    assert sheet.pictures.count() == 2
    left = page.context.pages[-1].evaluate(
        "async () => { const { picturesOf } = await import('/static/benchquorum/bench/pictures.js');"
        f" return (await picturesOf('{sheet.client_id}')).length; }}"
    )
    assert left == 0  # thrown away after the receipt, not before


def test_two_units_read_on_one_kept_page_are_two_sheets(page: Page, live_server: Any, bench: str) -> None:
    """Nothing of the first is overwritten by the second, and both go out."""
    page.goto(bench)
    page.context.set_offline(True)
    page = reopened(page, bench)
    for unit in ("ferry 2", "sweeper 7"):
        page.fill("[name=unit_key]", unit)
        page.check("[name=measured_it_myself]")
        page.tap("#start")
        take(page, 25)
        page.tap("#send")
        expect(page.locator("#draft")).to_contain_text("goes out by itself")
        page.get_by_role("link", name="Read another unit").click()
        expect(page.locator("[name=unit_key]")).to_be_editable()
    page.context.set_offline(False)
    page.goto(f"{live_server.url}/sheets/")
    wait_for_promise(page, NOTHING_WAITS)
    assert {sheet.unit.key for sheet in mine()} == {"ferry 2", "sweeper 7"}


def test_what_waits_goes_out_under_its_own_name(page: Page, live_server: Any, bench: str) -> None:
    """Another person signs in on the phone by the vice: the sheet waits for the one who read it."""
    begin(page, bench)
    take(page, 25)
    page.context.set_offline(True)
    page.tap("#send")
    expect(page.locator("#draft")).to_contain_text("goes out by itself")
    page = reopened(page, "about:blank")
    page.context.clear_cookies()
    page.context.set_offline(False)
    sign_in(page, live_server, person("colleague"))
    page.goto(f"{live_server.url}/sheets/")
    page.wait_for_load_state("networkidle")
    assert not Sheet.objects.filter(contributor__user__email="colleague@workshop.example").exists()
    page.context.clear_cookies()
    sign_in(page, live_server, User.objects.get(email="contributor@workshop.example"))
    sent_once(page, live_server)


@pytest.fixture
def newer_files(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], None]]:
    content = worker._content

    def come_out() -> None:
        monkeypatch.setattr(worker, "_content", lambda name: content(name) + b"\n// a newer version\n")
        worker._text.cache_clear()

    yield come_out
    monkeypatch.undo()
    worker._text.cache_clear()


@pytest.mark.parametrize("step", ["in the middle", "queued"])
def test_page_s_own_files_are_upgraded(
    page: Page, live_server: Any, bench: str, newer_files: Callable[[], None], step: str
) -> None:
    """A new version of a file comes out while a sheet lies on the phone."""
    begin(page, bench)
    take(page, 7 if step == "in the middle" else 24)
    page.context.set_offline(True)
    if step == "queued":
        take(page, 1)
        expect(page.locator("#draft")).to_contain_text("No network")
        page.tap("#send")
        expect(page.locator("#draft")).to_contain_text("goes out by itself")
    files = "caches.keys().then(names => names.filter(n => n.startsWith('benchquorum-files-')))"
    before = page.evaluate(files)
    newer_files()
    page.context.set_offline(False)
    page = reopened(page, bench)
    page.evaluate("navigator.serviceWorker.getRegistration().then(r => r.update())")
    wait_for_promise(page, f"{files}.then(names => names.length === 1 && names[0] !== '{before[0]}')")
    if step == "queued":
        sent_once(page, live_server)
    else:
        page = reopened(page, bench)
        expect(page.locator("#draft")).to_contain_text("7 of 25 readings")
        page.click("[data-do=go-on]")
        expect(page.locator("#progress")).to_have_text("8 of 25")


def photo(colour: str = "teal") -> list[Any]:
    out = io.BytesIO()
    Image.new("RGB", (300, 200), colour).save(out, "JPEG")
    return [{"name": f"{colour}.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}]


def test_every_file_of_the_bench_is_kept_for_offline() -> None:
    """A module that is not in the list would be missing without a network."""
    folder = Path(worker.__file__).parent.parent / "static" / "benchquorum" / "bench"
    assert {f"benchquorum/bench/{path.name}" for path in folder.glob("*.js")} <= set(worker.KEPT)
