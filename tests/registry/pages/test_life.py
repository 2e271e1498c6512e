"""The page of a design's units over time: figures, what they can't say, forms; and one's own unit."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.formats.life_table import read_life
from registry.models import Design, FleetReport, UnitEvent, User
from tests.registry.pages.lives import confirmed_fleet, event, made_lives, made_unit
from tests.registry.pages.made import account, made_design, made_sheet
from tests.registry.test_access import made_world

pytestmark = pytest.mark.django_db
NARROW = "\u202f"


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    cache.clear()


@pytest.fixture
def fleet(design: Design, reader: User) -> Design:
    """A fleet that reports all, of two classes, and volunteers."""
    confirmed_fleet("Ferry Slip")
    made_lives(reader, design, 3, 60)
    made_lives(reader, design, 4, 30, "equivalent")
    made_lives(account("volunteer", "Yard 9"), design, 5, 60, only_volunteers=True)
    return design


def text_of(client: Client, design: Design, query: str = "") -> str:
    answer = client.get(f"/designs/{design.uuid}/life/{query}")
    assert answer.status_code == 200
    return answer.content.decode().replace(NARROW, " ")


def test_without_units_the_page_says_what_will_be_here(client: Client, design: Design) -> None:
    page = text_of(client, design)
    assert "No unit with a distance on it has been reported yet." in page
    assert "bring in failed units more often than good ones" in page


def test_below_ten_units_only_counts_are_given(client: Client, design: Design, reader: User) -> None:
    for n in range(9):
        event(reader, made_unit(reader, design, f"u{n}"), "failed", 10_000 + 1000 * n)
    page = text_of(client, design)
    assert "9 units, 9 failures: too few to say more." in page
    assert '<svg class="strip survival"' not in page
    assert "One in ten failed by" not in page


def test_fleets_that_report_all_come_first_and_apart_from_volunteers(client: Client, fleet: Design) -> None:
    page = text_of(client, fleet)
    assert "they report every unit of their fleet" in page
    assert "60 units," in page and "Original parts" in page and "Equivalent parts" in page
    assert page.count('<svg class="strip survival"') == 2
    assert "Two classes compared" in page
    others = text_of(client, fleet, "?who=volunteers")
    assert "Volunteers bring in failed units more often than good ones." in others
    assert "60 units," not in others


def test_the_bias_of_volunteers_shows_in_their_figures(client: Client, design: Design, reader: User) -> None:
    """The same fleet told twice: all of it, and as volunteers would."""
    confirmed_fleet("Ferry Slip")
    made_lives(reader, design, 5, 120)
    made_lives(account("volunteer", "Yard 9"), design, 5, 120, only_volunteers=True)
    answer = client.get(f"/api/v1/designs/{design.uuid}/life/").json()
    whole, some = (cohort["groups"][0]["b10_km"]["estimate"] for cohort in answer["cohorts"])
    assert some < 0.9 * whole
    assert [bool(cohort["caution"]) for cohort in answer["cohorts"]] == [False, True]


def test_a_unit_at_hand_and_the_costs_are_answered_with_intervals(client: Client, fleet: Design) -> None:
    page = text_of(client, fleet, "?at=60000&next=10000&planned=200&breakdown=1500")
    assert page.count("Of units still good at 60 000 km,") == 2
    assert "fail within the next 10 000 km (95 %:" in page
    assert page.count("The lowest cost is at") == 2
    wrong = text_of(client, fleet, "?at=far&planned=200")
    assert "Enter a number." in wrong
    assert "The lowest cost" not in wrong
    assert "Both costs are needed." in text_of(client, fleet, "?planned=200")


def test_who_reads_in_miles_asks_and_is_answered_in_miles(client: Client, fleet: Design) -> None:
    client.cookies["distance_unit"] = "mi"
    page = text_of(client, fleet, "?at=40000")
    assert "Of units still good at 40 000 mi" in page
    assert " km" not in page.split("<main")[1].split("</main>")[0].replace("In mi on", "")


def test_figures_that_are_kept_are_told_in_the_readers_language(client: Client, fleet: Design) -> None:
    text_of(client, fleet)
    answer = client.get(f"/designs/{fleet.uuid}/life/", headers={"Accept-Language": "de"})
    assert 'lang="de"' in answer.content.decode()


def test_the_page_asks_no_more_with_many_units(client: Client, fleet: Design, reader: User) -> None:
    few = made_design(reader, "Another")
    made_lives(reader, few, 7, 12)
    counts = []
    for design in (few, fleet):
        text_of(client, design)
        with CaptureQueriesContext(connection) as asked:
            text_of(client, design, "?at=60000&planned=200&breakdown=1500")
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 15


def test_the_csv_is_the_tidy_form_with_the_same_caution(client: Client, fleet: Design) -> None:
    answer = client.get(f"/designs/{fleet.uuid}/life.csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert {row["reported_by"] for row in rows} == {"fleet", "volunteers"}
    assert all(bool(row["caution"]) == (row["reported_by"] == "volunteers") for row in rows)
    assert len(read_life(answer.content)) == len(rows)
    assert not any("Yard" in row["unit"] or "equivalent" in row["unit"] for row in rows)


def test_a_merged_design_leads_on_and_an_unknown_one_is_not_found(client: Client, design: Design) -> None:
    other = made_design(account("else"), "Second")
    Design.objects.filter(pk=other.pk).update(merged_into=design)
    assert client.get(f"/designs/{other.uuid}/life/").headers["Location"] == f"/designs/{design.uuid}/life/"
    assert client.get(f"/designs/{design.uuid.__class__(int=5)}/life/").status_code == 404
    assert f"/designs/{design.uuid}/life/" in client.get(f"/designs/{design.uuid}/").content.decode()


def test_new_units_of_each_class_against_the_pattern(
    client: Client, design: Design, evidence: Any, committed: Any
) -> None:
    from tests.registry.pages.made import readings

    evidence(6)
    with committed():
        for n in range(6):
            yard = account(f"buyer-{n}", f"Store {n}")
            changed = {"R4": "OL", "L4": "OL"} if n == 0 else {}
            made_sheet(
                yard,
                design,
                f"bought {n}",
                source_class="equivalent",
                held_good="new",
                readings=readings(**changed),
            )
        made_sheet(yard, design, "one more", source_class="unknown", held_good="new")
    page = text_of(client, design)
    assert "5 of 6 (95 %: 36 % to &gt; 99 %)" in page  # Clopper-Pearson, statsmodels 0.15.0: 0.3588 0.9958
    assert "too few, or of too few workshops, to say" in page


def test_one_tells_what_became_of_ones_own_unit(client: Client, design: Design, reader: User) -> None:
    unit = made_unit(reader, design, "tram 4")
    client.force_login(reader)
    at = f"/units/{unit.uuid}/"
    assert client.get(at).status_code == 200
    sent = {"kind": "failed", "distance_km": "90000", "noticed": "at_once", "entered_km": "20000"}
    assert client.post(at, sent).status_code == 302
    kept = UnitEvent.objects.get()
    assert (kept.kind, kept.distance_km, kept.good_km, kept.entered_km) == ("failed", 9e4, 9e4, 2e4)
    page = client.get(at).content.decode()
    assert "90\u202f000 km" in page and "came used at 20\u202f000 km" in page
    assert client.post(at, {"take_back": str(kept.uuid)}).status_code == 302
    kept.refresh_from_db()
    assert kept.withdrawn_at is not None


def test_distances_that_fall_are_refused_beside_their_fields(
    client: Client, design: Design, reader: User
) -> None:
    unit = made_unit(reader, design, "tram 4")
    client.force_login(reader)
    answer = client.post(f"/units/{unit.uuid}/", {"kind": "failed", "distance_km": "9", "good_km": "10"})
    assert answer.status_code == 422
    assert "have been good after it failed" in answer.content.decode().replace("&#x27;", "'")
    assert client.post(f"/units/{unit.uuid}/", {"distance_km": "x"}).status_code == 422
    assert not UnitEvent.objects.exists()


def test_another_persons_unit_is_not_found(client: Client, design: Design, reader: User) -> None:
    unit = made_unit(reader, design, "tram 4")
    client.force_login(account("else"))
    assert client.get(f"/units/{unit.uuid}/").status_code == 404
    assert client.post(f"/units/{unit.uuid}/", {"kind": "good", "distance_km": "5"}).status_code == 404


def test_a_workshops_word_counts_once_a_moderator_of_another_confirms_it() -> None:
    world = made_world()
    owner, desk = world.client("owner"), world.client("moderator")
    assert "of no workshop" in owner.get("/account/own/reporting/").content.decode()
    owner.post("/account/own/", {"workshop": "Tram depot", "distance_unit": "km"})
    assert owner.post("/account/own/reporting/", {"units": "x"}).status_code == 422
    assert owner.post("/account/own/reporting/", {"units": "40"}).status_code == 302
    report = FleetReport.objects.get()
    assert not report.counts
    assert "Tram depot" in desk.get("/desk/reporting/").content.decode()
    desk.post("/desk/reporting/", {"act": f"confirm:{report.uuid}"})
    report.refresh_from_db()
    assert report.counts
    owner.post("/account/own/reporting/", {"end": "1"})
    report.refresh_from_db()
    assert not report.counts


def test_whoever_writes_a_workshops_name_on_their_page_neither_ends_its_word_nor_sees_its_fleet() -> None:
    world = made_world()
    owner, other = world.client("owner"), world.client("other")
    for client in (owner, other):
        client.post("/account/own/", {"workshop": "Tram depot", "distance_unit": "km"})
    owner.post("/account/own/reporting/", {"units": "417"})
    assert "417" in owner.get("/account/own/reporting/").content.decode()
    shown = other.get("/account/own/reporting/").content.decode()
    assert "Tram depot says" in shown and "417" not in shown and 'name="end"' not in shown
    assert other.post("/account/own/reporting/", {"end": "1"}).status_code == 403
    assert FleetReport.objects.get().ended_at is None
