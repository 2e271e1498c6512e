"""Fleets and job facts by the API: for members alone, in the shapes that are described."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from registry.models import Design, FactAnswer, Vehicle
from tests.api.made import made_token, made_user

pytestmark = pytest.mark.django_db


def client_of(name: str, *scopes: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(made_user(name), *scopes))
    return client


@pytest.fixture
def owner() -> APIClient:
    return client_of("owner")


@pytest.fixture
def fleet(owner: APIClient) -> str:
    made = owner.post("/api/v1/fleets/", {"name": "Marsh Quay"}, format="json")
    assert made.status_code == 201 and made.json()["role"] == "owner"
    return f"/api/v1/fleets/{made.json()['fleet']}/"


def added(owner: APIClient, fleet: str, **body: Any) -> Any:
    return owner.post(f"{fleet}vehicles/", {"label": "Sweeper 12", **body}, format="json")


def test_a_vehicle_from_its_fitting_to_the_next_unit(owner: APIClient, fleet: str, design: Design) -> None:
    assert owner.patch(fleet, {"policy_km": 60000}, format="json").json()["policy_km"] == 60000
    body = {"design": design.name, "km": 50000, "read_on": "2026-01-10", "fitted_km": 10000}
    made = added(owner, fleet, **body).json()
    assert (made["unit_km"], made["due_km"], made["design"]) == (40000, 20000, str(design.uuid))
    at = f"/api/v1/vehicles/{made['vehicle']}/"
    told = owner.post(f"{at}distances/", {"km": 80000, "read_on": "2026-11-01"}, format="json").json()
    assert told["unit_km"] == 70000 and told["due_km"] == -10000
    owner.post(f"{at}units/", {"act": "remove", "removed_km": 80000, "because": "good"}, format="json")
    new = owner.post(f"{at}units/", {"act": "fit", "fitted_km": 80000}, format="json").json()
    assert new["unit_km"] == 0
    assert owner.get(f"{fleet}vehicles/").json()["results"] == [new]


def test_a_policy_that_was_changed_meanwhile_is_not_overwritten(owner: APIClient, fleet: str) -> None:
    seen = owner.get(fleet)["ETag"]
    changed = owner.patch(fleet, {"policy_km": 60000}, headers={"If-Match": seen})
    assert changed.status_code == 200 and changed["ETag"] == owner.get(fleet)["ETag"] != seen
    refused = owner.patch(fleet, {"policy_km": 90000}, headers={"If-Match": seen})
    assert refused.status_code == 412 and owner.get(fleet).json()["policy_km"] == 60000


def test_the_same_key_adds_no_second_vehicle_and_errors_name_their_field(
    owner: APIClient, fleet: str
) -> None:
    key = {"HTTP_IDEMPOTENCY_KEY": "one"}
    first = owner.post(f"{fleet}vehicles/", {"label": "A"}, format="json", **key)
    again = owner.post(f"{fleet}vehicles/", {"label": "A"}, format="json", **key)
    assert first.json() == again.json() and Vehicle.objects.count() == 1
    wrong = added(owner, fleet, km=5, fitted_km=9)
    assert wrong.status_code == 400
    assert [error["pointer"] for error in wrong.json()["errors"]] == ["/fitted_km"]


def test_nothing_is_there_for_others_whatever_they_ask(owner: APIClient, fleet: str) -> None:
    vehicle = added(owner, fleet).json()["vehicle"]
    other = client_of("other")
    other.post("/api/v1/fleets/", {"name": "Tollgate"}, format="json")
    for method, path, body in (
        ("get", fleet, None),
        ("patch", fleet, {"policy_km": 1}),
        ("get", f"{fleet}vehicles/", None),
        ("post", f"{fleet}vehicles/", {"label": "B"}),
        ("get", f"/api/v1/vehicles/{vehicle}/", None),
        ("post", f"/api/v1/vehicles/{vehicle}/distances/", {"km": 1}),
        ("post", f"/api/v1/vehicles/{vehicle}/units/", {"act": "fit", "fitted_km": 1}),
    ):
        assert getattr(other, method)(path, body, format="json").status_code == 404, path
    assert APIClient().get(fleet).status_code == 401
    assert client_of("reads", "read").post("/api/v1/fleets/", {"name": "X"}, format="json").status_code == 403


def test_facts_are_answered_and_taken_back(design: Design) -> None:
    at = f"/api/v1/designs/{design.uuid}/facts/"
    for n in range(5):
        body = {"question": "rest_in_place", "answer": "yes", "source": "did_it"}
        assert client_of(f"one{n}").post(at, body, format="json").status_code == 201
    found = {line["question"]: line for line in APIClient().get(at).json()["facts"]}
    assert (found["rest_in_place"]["answer"], found["rest_in_place"]["standing"]) == ("yes", "agreed")
    assert found["fluid"]["standing"] == "unread"
    six = client_of("six")
    six.post(at, {"question": "rest_in_place", "answer": "no", "source": "did_it"}, format="json")
    gone = six.delete(f"/api/v1/facts/{found['rest_in_place']['fact']}/answer/")
    assert gone.status_code == 204 and FactAnswer.objects.filter(is_current=True).count() == 5
    wrong = six.post(at, {"question": "minutes", "source": "did_it"}, format="json")
    assert [error["pointer"] for error in wrong.json()["errors"]] == ["/quantity"]
