"""Disputes and decisions by API: thread, queue, decision on what was seen, second voice, undoing."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from registry.models import Design, Sheet, User, Workshop
from registry.services.accounts import contributor_of
from registry.services.sheets import sheet_submit
from tests.api.made import made_moderator, made_token, made_user, sheet_body

DISPUTES, DECISIONS, CASES = "/api/v1/disputes/", "/api/v1/decisions/", "/api/v1/cases/"


def client_of(user: User, *scopes: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(user, *scopes))
    return client


@pytest.fixture
def moderator(db: None) -> APIClient:
    user = made_moderator()
    return client_of(user, "read", "submit", "moderate")


@pytest.fixture
def sheet(reader: User, design: Design) -> Sheet:
    return sheet_submit(by=reader, body=sheet_body(design))


@pytest.fixture
def other(db: None) -> APIClient:
    return client_of(made_user("other"))


def opened(client: APIClient, sheet: Sheet) -> dict[str, Any]:
    answer = client.post(
        DISPUTES, {"target_kind": "sheet", "target": str(sheet.uuid), "reason": "Pin 4 in R is wrong."}
    )
    assert answer.status_code == 201, answer.content
    found: dict[str, Any] = answer.json()
    return found


def test_a_dispute_is_open_to_read_and_names_nobody(other: APIClient, guest: APIClient, sheet: Sheet) -> None:
    dispute = opened(other, sheet)
    shown = guest.get(f"{DISPUTES}{dispute['dispute']}/")
    assert shown.json()["reason"] == "Pin 4 in R is wrong." and shown.json()["opened_by"].startswith("c-")
    assert "@" not in shown.content.decode()
    assert len(guest.get(DISPUTES, {"target": str(sheet.uuid), "state": "open"}).json()["results"]) == 1


def test_a_cell_is_disputed_by_its_labels(other: APIClient, design: Design) -> None:
    body = {
        "target_kind": "cell",
        "target": str(design.uuid),
        "cell": {"position": "R", "pin": "1", "against": "4"},
        "reason": "Two of our units read open here.",
    }
    answer = other.post(DISPUTES, body)
    assert answer.json()["cell"] == {"position": "R", "between": False, "pin": "4", "against": "1"}
    again = other.post(DISPUTES, body)
    assert again.status_code == 409 and again.json()["code"] == "dispute_open"
    body["cell"] = {"position": "Q", "pin": "1", "against": "4"}
    assert other.post(DISPUTES, body).status_code == 400


def test_a_thread_is_written_and_taken_back(
    other: APIClient, bearer: APIClient, guest: APIClient, sheet: Sheet
) -> None:
    address = f"{DISPUTES}{opened(other, sheet)['dispute']}/"
    assert guest.post(f"{address}messages/", {"text": "hello"}).status_code == 401
    assert bearer.post(f"{address}messages/", {"text": "Read again: 0.4."}).status_code == 201
    assert bearer.post(f"{address}take-back/").status_code == 403
    assert other.post(f"{address}take-back/").json()["state"] == "taken_back"
    assert other.post(f"{address}messages/", {"text": "more"}).status_code == 409
    assert [m["text"] for m in guest.get(address).json()["messages"]] == ["Read again: 0.4."]


def test_only_a_moderators_token_sees_the_queue(
    other: APIClient, moderator: APIClient, guest: APIClient, sheet: Sheet
) -> None:
    opened(other, sheet)
    assert guest.get(CASES).status_code == 401
    assert other.get(CASES).status_code == 403
    kinds = {case["kind"] for case in moderator.get(CASES).json()["results"]}
    assert "dispute" in kinds


def test_a_decision_is_made_on_what_was_seen_and_undone(
    other: APIClient, moderator: APIClient, guest: APIClient, sheet: Sheet
) -> None:
    case = moderator.get(f"{CASES}sheet/{sheet.uuid}/").json()
    assert "set_aside" in [act["act"] for act in case["acts"]]
    body = {
        "kind": "sheet",
        "case": str(sheet.uuid),
        "act": "set_aside",
        "reason": "Worn leads.",
        "seen": "an older state",
    }
    stale = moderator.post(DECISIONS, body)
    assert stale.status_code == 409 and stale.json()["code"] == "case_changed"
    made = moderator.post(DECISIONS, {**body, "seen": case["seen"]})
    assert made.status_code == 201, made.content
    public = guest.get(f"{DECISIONS}{made.json()['decision']}/").json()
    assert (public["kind"], public["target"], public["reason"]) == (
        "set_aside",
        str(sheet.uuid),
        "Worn leads.",
    )
    assert "proposer" not in public
    address = f"{DECISIONS}{made.json()['decision']}/undo/"
    assert other.post(address, {"reason": "no"}).status_code == 403
    assert moderator.post(address, {}).status_code == 400
    assert moderator.post(address, {"reason": "The leads were fine."}).json()["state"] in (
        "undone",
        "refused",
    )


def test_nobody_decides_in_the_case_of_a_colleague(moderator: APIClient, reader: User, sheet: Sheet) -> None:
    yard = Workshop.objects.create(name="North yard")
    for user in (reader, User.objects.get(email="desk@workshop.example")):
        contributor = contributor_of(user)
        contributor.workshop = yard
        contributor.save()
    case = moderator.get(f"{CASES}sheet/{sheet.uuid}/").json()
    assert case["barred"]
    refused = moderator.post(
        DECISIONS,
        {"kind": "sheet", "case": str(sheet.uuid), "act": "set_aside", "reason": "x", "seen": case["seen"]},
    )
    assert refused.status_code == 403


def test_a_case_that_is_not_there(moderator: APIClient, design: Design) -> None:
    assert moderator.get(f"{CASES}sheet/{design.uuid}/").status_code == 404
    assert moderator.get(f"{CASES}weather/{design.uuid}/").status_code == 404


def test_lists_take_a_fixed_number_of_queries(
    other: APIClient, guest: APIClient, reader: User, design: Design, django_assert_max_num_queries: Any
) -> None:
    counted = []
    for n in (1, 5):
        for m in range(n):
            opened(other, sheet_submit(by=reader, body=sheet_body(design, unit={"key": f"{n}-{m}"})))
        with django_assert_max_num_queries(6) as seen:
            guest.get(DISPUTES)
        counted.append(len(seen))
    assert counted[0] == counted[1]
