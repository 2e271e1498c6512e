"""Units over time by program: figures with their cautions, questions, and what became of a unit."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from jsonschema import Draft202012Validator

from api.description.life import LIFE_ANSWER
from registry.models import UnitEvent
from tests.registry.pages.lives import confirmed_fleet, made_lives, made_unit
from tests.registry.pages.made import account, made_design

pytestmark = pytest.mark.django_db
NOWHERE = "6b0e5f0a-6a44-4a55-9d29-1d9f0f2b7c11"


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    cache.clear()


def test_figures_come_with_their_cautions_in_the_described_shape(client: Client) -> None:
    me = account("me", "Ferry Slip")
    design = made_design(me)
    confirmed_fleet("Ferry Slip")
    made_lives(me, design, 3, 40)
    made_lives(account("other", "Yard 9"), design, 5, 40, only_volunteers=True)
    answer = client.get(f"/api/v1/designs/{design.uuid}/life/?at_km=60000&planned=1&breakdown=9")
    assert answer.status_code == 200, answer.content
    document: dict[str, Any] = answer.json()
    Draft202012Validator(LIFE_ANSWER).validate(document)
    fleet, volunteers = document["cohorts"]
    assert (fleet["reported_by"], fleet["caution"]) == ("fleet", "")
    assert "brought in more often" in volunteers["caution"]
    group = fleet["groups"][0]
    assert group["units"] == 40
    assert group["next_failure"]["low"] < group["next_failure"]["estimate"] < group["next_failure"]["high"]
    assert group["replacement_km"]["message"]
    assert document["drift"]["trend"]["reason"] == "too_few"


@pytest.mark.parametrize(
    "query", ["at_km=far", "next_km=0", "at_km=nan", "planned=0&breakdown=1", "at_km=1e9"]
)
def test_questions_that_make_no_sense_are_named(client: Client, query: str) -> None:
    design = made_design(account("me"))
    answer = client.get(f"/api/v1/designs/{design.uuid}/life/?{query}")
    assert answer.status_code == 400
    assert answer.json()["code"] == "parameter_invalid"


def test_one_cost_alone_says_nothing(client: Client) -> None:
    design = made_design(account("me"))
    made_lives(account("other", "Yard 9"), design, 5, 40)
    for cohort in client.get(f"/api/v1/designs/{design.uuid}/life/?planned=5").json()["cohorts"]:
        assert all(group.get("replacement_km") is None for group in cohort["groups"])


def test_an_unknown_design_is_not_found(client: Client) -> None:
    assert client.get(f"/api/v1/designs/{NOWHERE}/life/").status_code == 404


def test_what_became_of_a_unit_is_told_by_its_own_contributor_alone(client: Client) -> None:
    me, other = account("me"), account("other")
    unit = made_unit(me, made_design(me), "tram 4")
    at = f"/api/v1/submissions/{unit.sheets.get().uuid}/unit-events/"
    body = {"kind": "failed", "distance_km": 90_000, "good_km": 80_000}
    assert client.post(at, body, content_type="application/json").status_code == 401
    client.force_login(other)
    assert client.post(at, body, content_type="application/json").status_code == 403
    client.force_login(me)
    answer = client.post(at, body, content_type="application/json")
    assert answer.status_code == 201, answer.content
    assert answer.json()["good_km"] == 80_000
    wrong = client.post(at, {"kind": "lost", "distance_km": -1}, content_type="application/json")
    assert wrong.status_code == 400
    assert {error["pointer"] for error in wrong.json()["errors"]} >= {"/kind", "/distance_km"}
    assert UnitEvent.objects.count() == 1
