"""Designs by API: list, filters, one in full, proposing; queries counted."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from api.views.description import description
from registry.models import Design, User
from tests.api.made import design_body, made_design, made_revision

LIST = "/api/v1/designs/"


def names(client: APIClient, **query: Any) -> list[str]:
    response = client.get(LIST, query)
    assert response.status_code == 200, response.content
    return [line["name"] for line in response.json()["results"]]


def test_a_list_names_what_a_technician_looks_for(guest: APIClient, design: Design) -> None:
    made_revision(design)
    line = guest.get(LIST).json()["results"][0]
    assert line["design"] == str(design.uuid)
    assert line["pins"] == ["1", "2", "3", "4", "5"]
    assert line["positions"] == ["P", "R", "N", "D"]
    assert line["common"] == "1"
    assert line["chart"]["revision"] == 1 and line["chart"]["standing"] == "provisional"


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"part_number": "aw rake 9"}, ["Rake 9"]),
        ({"pins": 7}, ["Rake 9"]),
        ({"lines": 6}, ["Rake 9"]),
        ({"positions": 4}, ["Rake 9", "Sweeper selector"]),
        ({"positions": 3}, []),
        ({"q": "seven pins"}, ["Rake 9"]),
        ({"q": "sweeper 2015"}, ["Rake 9", "Sweeper selector"]),
        ({"standing": "provisional"}, ["Sweeper selector"]),
        ({"standing": "unread"}, ["Rake 9"]),
        ({"standing": "agreed"}, []),
        ({"maker": "aldmoor works", "pins": 5}, ["Sweeper selector"]),
        ({"state": "confirmed"}, []),
    ],
)
def test_filters_narrow_down(
    guest: APIClient, reader: User, design: Design, query: dict[str, Any], found: list[str]
) -> None:
    made_design(reader, "Rake 9", pins=7)
    made_revision(design)
    assert sorted(names(guest, **query)) == found


@pytest.mark.parametrize(
    "query",
    [
        {"pins": "many"},
        {"pins": ""},
        {"pins": "1.5"},
        {"pins": 10**30},
        {"standing": "certain"},
        {"pinz": 5},
        {"page_size": 0},
        {"page_size": 10_000},
        {"page_size": "000001" + "9" * 20},  # more than a database counts to
        {"page_size": "0000500"},
        {"cursor": "nonsense"},
        {"cursor": "r"},
        {"cursor": "9" * 30},
        {"cursor": ""},
        {"q": "a\0b"},
        {"q": ""},
    ],
)
def test_what_cannot_be_read_is_refused(guest: APIClient, db: None, query: dict[str, Any]) -> None:
    response = guest.get(LIST, query)
    assert response.status_code == 400
    assert response["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    "query",
    [
        {},
        {"q": "sweeper", "standing": "provisional", "pins": 5},
        {"q": "five pins, 4 positions"},
        {"q": "AW-Sweeper 1-0", "part_number": "AW-Sweeper 1-0", "maker": "Aldmoor"},
        {"pins": 5, "lines": 4, "positions": 4, "state": "proposed", "actuation": "lever"},
        {"page_size": 200, "standing": "unread"},
    ],
)
def test_fifty_designs_take_as_many_queries_as_one(
    guest: APIClient, reader: User, query: dict[str, Any]
) -> None:
    counted = []
    for more in (1, 49):
        for n in range(more):
            made_revision(made_design(reader, f"Sweeper {more}-{n}"))
        with CaptureQueriesContext(connection) as queries:
            assert guest.get(LIST, query).status_code == 200
        counted.append(len(queries))
    assert counted[0] == counted[1] <= 6


def test_no_filter_nor_all_of_them_nor_a_token_makes_fifty_designs_cost_more_than_six_queries(
    guest: APIClient, bearer: APIClient, reader: User
) -> None:
    for n in range(50):
        made_revision(made_design(reader, f"Sweeper {n}"))
    given: dict[str, Any] = {
        "q": "sweeper 5 pins aldmoor",
        "part_number": "AW-Sweeper 7",
        "pins": 5,
        "lines": 4,
        "positions": 4,
        "standing": "provisional",
        "state": "proposed",
        "actuation": "lever",
        "maker": "aldmoor works",
        "cursor": "3",
        "page_size": 50,
    }
    parameters = json.loads(description()[0])["paths"][LIST]["get"]["parameters"]
    asked = {parameter["name"] for parameter in parameters if parameter["in"] == "query"}
    assert asked == set(given)  # a filter that is added is counted here too
    bearer.get(LIST)  # the allowance's factor is looked up once an hour
    for client in (guest, bearer):
        for query in [{}, *({name: value} for name, value in given.items()), given]:
            with CaptureQueriesContext(connection) as queries:
                page = client.get(LIST, query)
            assert page.status_code == 200 and page.json()["results"], query
            assert len(queries) <= 6, (query, len(queries))


def test_pages_follow_the_cursor_and_stay_whole_while_designs_arrive(guest: APIClient, reader: User) -> None:
    for n in range(7):
        made_design(reader, f"Design {n}")
    seen, address, pages = [], f"{LIST}?page_size=3", 0
    while address:
        page = guest.get(address).json()
        seen += [line["name"] for line in page["results"]]
        address, pages = page["next"], pages + 1
        made_design(reader, f"Latecomer {pages}") if pages < 3 else None
    assert seen[:7] == [f"Design {n}" for n in range(7)]
    assert len(seen) == len(set(seen))


def test_one_design_in_full(guest: APIClient, design: Design) -> None:
    full = guest.get(f"{LIST}{design.uuid}/").json()
    assert full["connector"]["landmark"] == "rib above pin 1"
    assert [d["label"] for d in full["detents"] if d["releases_starter"]] == ["P", "N"]
    assert full["applications"][0]["vehicle"] == "Street sweeper"
    assert full["proposed_by"].startswith("c-")


def test_a_proposal_is_usable_at_once(bearer: APIClient, guest: APIClient) -> None:
    made = bearer.post(LIST, design_body("Ferry drive"))
    assert made.status_code == 201 and made.json()["state"] == "proposed"
    assert names(guest, q="ferry") == ["Ferry drive"]


def test_a_proposal_with_faults_names_each_at_its_place(bearer: APIClient, db: None) -> None:
    body = design_body("Ferry drive")
    body["positions"][1]["label"] = ""
    body["common"] = "99"
    body["positions"][2]["aliases"] = ["n", "x" * 50]
    answer = bearer.post(LIST, body)
    assert answer.status_code == 400
    pointers = {fault["pointer"] for fault in answer.json()["errors"]}
    assert pointers == {"/positions/1/label", "/positions/2/aliases/1", "/common"}
    assert not Design.objects.exists()


def test_a_retry_with_the_same_key_proposes_once(bearer: APIClient, db: None) -> None:
    body = design_body("Ferry drive")
    first = bearer.post(LIST, body, headers={"Idempotency-Key": "k-1"})
    again = bearer.post(LIST, body, headers={"Idempotency-Key": "k-1"})
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json() and again["Idempotency-Replayed"] == "true"
    assert Design.objects.count() == 1
    other = bearer.post(LIST, design_body("Other"), headers={"Idempotency-Key": "k-1"})
    assert other.status_code == 422 and other.json()["code"] == "idempotency_key_used"


def test_a_refused_request_keeps_no_key(bearer: APIClient, db: None) -> None:
    body = {**design_body("Ferry drive"), "common": "99"}
    assert bearer.post(LIST, body, headers={"Idempotency-Key": "k-2"}).status_code == 400
    body["common"] = "1"
    assert bearer.post(LIST, body, headers={"Idempotency-Key": "k-2"}).status_code == 201
