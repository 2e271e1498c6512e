"""Behind a chart and after it: its readings under pseudonyms, its line code, its short test."""

from __future__ import annotations

import json
from typing import Any

import pytest
from rest_framework.test import APIClient

from registry.models import ChartRevision, Design, Sheet, User
from registry.services.charts import chart_refresh, findings_store
from registry.services.sheets import sheet_submit, sheet_withdraw
from tests.api.made import made_revision, made_user, sheet_body


@pytest.fixture
def charted(reader: User, design: Design) -> Design:
    """A design with a computed chart from three people's sheets."""
    for n, user in enumerate((reader, made_user("b"), made_user("c"))):
        sheet_submit(by=user, body=sheet_body(design, unit={"key": str(n)}))
    assert chart_refresh(design_id=design.pk) is not None
    return design


def test_the_readings_behind_a_chart_name_nobody(guest: APIClient, charted: Design) -> None:
    address = f"/api/v1/charts/{charted.uuid}/readings/"
    answer = guest.get(address, {"page_size": 200})
    lines = answer.json()["results"]
    assert len(lines) == 48 and len({line["contributor"] for line in lines}) == 3
    assert lines[0]["reading"]["reading"] == "0.4"
    assert "@" not in answer.content.decode() and "ward-3" not in answer.content.decode()
    revision = f"/api/v1/charts/{charted.uuid}/revisions/1/readings/"
    assert guest.get(revision, {"page_size": 200}).json()["results"] == lines


def walked(client: APIClient, address: str) -> list[Any]:
    """All lines from this page on."""
    found: list[Any] = []
    while address:
        page = client.get(address).json()
        found, address = found + page["results"], page["next"]
    return found


def test_the_pages_of_one_chart_s_readings_stay_with_its_revision(guest: APIClient, charted: Design) -> None:
    address = f"/api/v1/charts/{charted.uuid}/readings/?page_size=20"
    whole, first = walked(guest, address), guest.get(address).json()
    made_revision(charted, 2)
    assert guest.get(address).json()["results"] == []  # it was made up of nothing
    assert first["results"] + walked(guest, first["next"]) == whole and len(whole) == 48


def test_findings_that_are_written_anew_between_two_pages_come_once(
    guest: APIClient, charted: Design
) -> None:
    address = "/api/v1/findings/?page_size=1"
    whole, first = walked(guest, address), guest.get(address).json()
    revision = ChartRevision.objects.get()
    findings_store(revision, json.loads(bytes(revision.content)))
    assert first["results"] + walked(guest, first["next"]) == whole and len(whole) == 3


def test_readings_of_a_sheet_that_was_taken_back_are_left_out(
    guest: APIClient, reader: User, charted: Design
) -> None:
    sheet_withdraw(by=reader, sheet=Sheet.objects.get(contributor__user=reader), reason="faulty")
    lines = guest.get(f"/api/v1/charts/{charted.uuid}/readings/", {"page_size": 200}).json()["results"]
    assert len(lines) == 32


def test_readings_take_a_fixed_number_of_queries(
    guest: APIClient, charted: Design, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(3):  # the frozen inputs, the versions they name, one page of readings
        guest.get(f"/api/v1/charts/{charted.uuid}/readings/")


def test_the_line_code_says_what_a_fault_would_do(guest: APIClient, charted: Design) -> None:
    found = guest.get(f"/api/v1/charts/{charted.uuid}/line-code/").json()
    code = found["results"][0]
    assert (found["revision"], code["least_distance"], code["positions"]) == (1, 2, ["P", "R", "N", "D"])
    # Each position closes one line of its own: two positions differ in two lines.
    assert all(d == 2 for row, line in enumerate(code["distances"]) for n, d in enumerate(line) if n != row)


def test_the_short_test_needs_fewer_readings_than_a_full_sheet(guest: APIClient, charted: Design) -> None:
    test = guest.get(f"/api/v1/charts/{charted.uuid}/short-test/").json()["results"][0]
    assert test["full"] == 16 and 0 < len(test["lines"]) < 16


@pytest.mark.parametrize("tail", ["readings/", "revisions/1/readings/", "line-code/", "short-test/"])
def test_without_a_chart_there_is_nothing(guest: APIClient, design: Design, tail: str) -> None:
    assert guest.get(f"/api/v1/charts/{design.uuid}/{tail}").status_code == 404


def test_a_check_against_the_computed_chart(guest: APIClient, charted: Design) -> None:
    body = sheet_body(charted)
    good = guest.post("/api/v1/check/", body).json()
    assert good["agreeing"] == good["compared"] == 16
    for reading in body["readings"]:
        if reading["pin"] == "4":
            reading["reading"] = "OL"
    faulty = guest.post("/api/v1/check/", body).json()
    assert faulty["p_good"] < good["p_good"]
    assert [(cell["position"], cell["pin"]) for cell in faulty["unlike"]] == [("N", "4")]
    assert faulty["causes"][0]["message"]


def test_a_switch_is_identified_by_its_readings(guest: APIClient, charted: Design) -> None:
    readings = sheet_body(charted)["readings"]
    found = guest.post("/api/v1/identify/", {"readings": readings}).json()
    assert found["candidates"][0]["uuid"] == str(charted.uuid)


def test_a_preview_stores_nothing(guest: APIClient, charted: Design) -> None:
    before = Sheet.objects.count()
    found = guest.post("/api/v1/submissions/preview/", sheet_body(charted)).json()
    assert found["adds"]["units"] == 3 and found["comparison"]["agreeing"] == 16
    assert Sheet.objects.count() == before
