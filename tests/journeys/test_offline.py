"""Without a network: a kept chart opens, a suspect is checked on the device, with the server's verdict."""

from __future__ import annotations

import json
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, expect

from registry.errors import RegistryError
from registry.formats.reading import parse_reading
from registry.formats.tidy_reader import read_tidy
from registry.models import ChartRevision, CurrentChart, Design
from registry.services.checks import check_suspect
from registry.services.imports.tidy_file import import_apply
from tests.journeys.conftest import person
from tests.registry.offline_suspects import made_suspects, typed
from tests.registry.pages.made import CLOSED, PINS, made_design, made_evidence, made_sheet

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DEMO = Path(__file__).parents[2] / "fixtures_demo" / "readings.csv"
A_CHART = 25  # sheets; the demo has eight charts
NEAR_BITS = 0.005
NEAR = 0.002  # of p: the curves of the tables are no further off than 2e-4 nats a reading
CHECK = """async ({ address, sheets }) => {
  const { parse } = await import("/static/benchquorum/offline/figures.js");
  const { check } = await import("/static/benchquorum/offline/verdict.js");
  const { tables } = await (await fetch(address)).json();
  return sheets.map(({ read_at, limit, lead, rows }) => {
    const readings = rows.map((row) => ({ ...row, limit, lead, ...parse(row.reading, "", limit) }));
    const found = check(tables, { read_at, readings });
    return [found.verdict, found.reason, found.p_good, found.next];
  });
}"""


def body_of(design: Design, suspect: dict[str, Any]) -> dict[str, Any]:
    """The same sheet as the server takes it."""
    meter = {"limit_ohm": suspect["readings"][0]["limit"], "lead_ohm": suspect["readings"][0]["lead"]}
    names = ("position", "pin", "against", "sweep", "between")
    rows = [{**{name: row[name] for name in names}, "reading": typed(row)} for row in suspect["readings"]]
    return {
        "client_id": str(uuid.uuid4()),
        "design": str(design.uuid),
        "purpose": "suspect",
        "read_at": suspect["read_at"],
        "meter": {"name": "", "apart_shows": "OL", **meter},
        "readings": rows,
    }


def same_next(here: list[dict[str, Any]], there: list[dict[str, Any]]) -> None:
    """The same readings tell as much; only those that tell equally much may stand in another order."""
    names = ("position", "pin", "against")
    mine, theirs = ({tuple(row[name] for name in names): row for row in rows} for rows in (here, there))
    assert [row["bits"] for row in here] == pytest.approx([row["bits"] for row in there], abs=NEAR_BITS)
    for place, row in mine.items():
        other = theirs.get(place)
        if other is None:  # more tell equally much than are named
            told = row["bits"] + 0.2 * row["bitsCause"]
            instead = [
                one for at, one in theirs.items() if at not in mine and one["excludes"] == row["excludes"]
            ]
            assert any(told == pytest.approx(_told(one), abs=NEAR_BITS) for one in instead), (row, there)
            continue
        assert (row["repeat"], row["excludes"]) == (other["repeat"], other["excludes"])
        assert (row["bits"], row["bitsCause"]) == pytest.approx(
            (other["bits"], other["bits_cause"]), abs=NEAR_BITS
        )


def _told(row: dict[str, Any]) -> float:
    return float(row["bits"] + 0.2 * row["bits_cause"])


def test_verdicts_are_the_servers_on_two_hundred_sheets(desk: BrowserContext, live_server: Any) -> None:
    import_apply(read_tidy(DEMO))
    page = desk.new_page()
    page.goto(f"{live_server.url}/about/")
    seen: list[str] = []
    for current in CurrentChart.objects.select_related("design", "revision").order_by("design__name"):
        chart = json.loads(bytes(current.revision.content))
        suspects = list(made_suspects(chart, A_CHART, seed=len(seen)))
        sheets = []
        for suspect in suspects:
            rows = [{**row, "reading": typed(row)} for row in suspect["readings"]]
            meter = {name: suspect["readings"][0][name] for name in ("limit", "lead")}
            sheets.append({"read_at": suspect["read_at"], "rows": rows, **meter})
        address = f"/designs/{current.design.uuid}/offline.json"
        here = page.evaluate(CHECK, {"address": address, "sheets": sheets})
        for suspect, (verdict, reason, p_good, following) in zip(suspects, here, strict=True):
            there = check_suspect(body=body_of(current.design, suspect))
            assert (verdict, reason) == (there["verdict"], there["reason"]), (current.design.name, suspect)
            assert p_good == pytest.approx(there["p_good"], abs=NEAR)
            same_next(following, there["next"])
            seen.append(verdict)
    assert len(seen) == 8 * A_CHART
    assert {seen.count(word) > 20 for word in ("good", "faulty", "undecided")} == {True}


@pytest.fixture
def design(live_server: Any) -> Design:
    made = made_design(person("proposer"))
    made_evidence(made, people=4)
    return made


def kept_chart(page: Page, server: Any, design: Design) -> None:
    page.goto(f"{server.url}/designs/{design.uuid}/")
    page.click("#keep-line button")
    expect(page.locator("#keep-line [role=status]")).to_contain_text("Kept.")


def test_network_off_chart_is_shown_and_suspect_is_checked(
    phone: BrowserContext, live_server: Any, design: Design
) -> None:
    page = phone.new_page()
    kept_chart(page, live_server, design)
    phone.set_offline(True)
    page.goto(f"{live_server.url}/designs/{design.uuid}/")
    expect(page.locator("h1")).to_have_text(design.name)
    expect(page.locator("#pattern table")).to_be_visible()
    page.goto(f"{live_server.url}/kept/")
    expect(page.locator("#kept-list li")).to_contain_text("Revision")
    page.click("#kept-list a.button")
    page.wait_for_url(f"**/designs/{design.uuid}/check/")
    rows = []
    for step, (position, closed) in enumerate(CLOSED.items(), 1):
        for order, pin in enumerate(PINS[1:], 2):
            reading = "OL" if pin == "4" or pin not in closed else "0.4"
            page.fill(f"[name=r-{step}-{order}-1-1-0]", reading)
            rows.append({"position": position, "pin": pin, "against": "1", "reading": reading})
    page.click("#plain-acts button")
    verdict = page.locator("#comparison .verdict")
    expect(verdict).to_contain_text("Faulty")
    expect(page.locator("#comparison")).to_contain_text("Pin 4 never closes")
    expect(page.locator("#comparison")).to_contain_text("without the network, against revision")
    body = {"design": str(design.uuid), "purpose": "suspect", "read_at": "connector", "readings": rows}
    there = check_suspect(body=body)
    first = page.locator("#comparison ol li").first
    expect(page.locator("#comparison")).to_contain_text("Read next")
    expect(first).to_contain_text(f"pin {there['next'][0]['pin']} in {there['next'][0]['position']}")
    assert verdict.get_attribute("data-verdict") == there["verdict"] == "faulty"
    assert float(verdict.get_attribute("data-p-good") or 1) == pytest.approx(there["p_good"], abs=NEAR)


def test_kept_chart_that_was_withdrawn_or_replaced_says_so(
    desk: BrowserContext, live_server: Any, design: Design
) -> None:
    page = desk.new_page()
    kept_chart(page, live_server, design)
    made_sheet(person("late", "Yard 9"), design, "unit 9")
    page.goto(f"{live_server.url}/kept/")
    newest = CurrentChart.objects.get(design=design).revision.number
    expect(page.locator("#kept-list li")).to_contain_text(f"Revision {newest} of")
    page.clock.install()
    page.clock.fast_forward(40 * 86_400_000)
    desk.set_offline(True)
    page.reload()
    expect(page.locator("#kept-list .attention")).to_contain_text("more than 30 days ago")
    page.goto(f"{live_server.url}/designs/{design.uuid}/")
    expect(page.locator("#keep-line .attention")).to_contain_text("more than 30 days ago")
    page.goto(f"{live_server.url}/kept/")
    desk.set_offline(False)
    reason = "the connector was drawn from the wrong side."
    ChartRevision.objects.filter(design=design, state="published").update(
        state="withdrawn", withdrawn_at=timezone.now(), withdrawn_reason=reason
    )
    page.reload()
    expect(page.locator("#kept-list .attention")).to_contain_text(f"Withdrawn: {reason}")
    desk.set_offline(True)
    page.reload()
    expect(page.locator("#kept-list .attention")).to_contain_text(f"Withdrawn: {reason}")
    page.goto(f"{live_server.url}/designs/{design.uuid}/check/")
    page.click("#plain-acts button")
    expect(page.locator("#comparison .attention")).to_contain_text(f"This chart was withdrawn: {reason}")


READINGS = """0.4 0,4 1.2k 4R7 R47 1M2 2L00 .5 5. 0.8MΩ 12k3 OL o.l ∞ cont BEEP 1,200 0.8mΩ 4E7 4e3 -3 >5 1k2k
 2 2-5 0.4…35 0.4...35 1k..OL OL…OL 0.4–35 3ohm 3Ohms 7r 5Meg 5m 100000000000000 1.2.3 47kJ 1 0L open"""


def test_readings_are_read_as_the_server_reads_them(desk: BrowserContext, live_server: Any) -> None:
    texts = [*READINGS.split(), "0.4 to 35", "1 234", "over limit", "1 .", " 5 k ", ""]
    page = desk.new_page()
    page.goto(f"{live_server.url}/about/")
    here = page.evaluate(
        "async (texts) => { const { parse } = await import('/static/benchquorum/offline/figures.js');"
        "return texts.map((text) => parse(text, '1', 2e7)); }",
        texts,
    )
    for text, found in zip(texts, here, strict=True):
        try:
            there: Any = parse_reading(text, over_limit_sign="1", limit_ohm=2e7)
        except RegistryError:
            there = None
        plain = None if there is None else [there.kind.name.lower(), there.low, there.high]
        assert (None if found is None else [found["kind"], found["low"], found["high"]]) == plain, text
