"""One's own account by API: pseudonym, rights, and what is left for today."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone
from rest_framework.test import APIClient

from registry.models import Design, Sheet, User
from registry.services.facts import ANSWERS_A_SHEET
from tests.api.made import made_token, sheet_body

ME, SEND = "/api/v1/account/", "/api/v1/submissions/"


def test_it_names_the_pseudonym_and_never_the_person(bearer: APIClient, reader: User) -> None:
    answer = bearer.get(ME)
    assert answer.json()["contributor"].startswith("c-")
    assert answer.json()["scopes"] == ["read", "submit"]
    assert reader.email not in answer.content.decode()
    assert answer["Cache-Control"] == "private, no-store"


def test_what_is_left_for_today_is_shown_and_kept_to(
    bearer: APIClient, reader: User, design: Design, settings: Any
) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 2
    bearer.post(SEND, sheet_body(design, unit={"key": "first"}))
    assert bearer.get(ME).json()["sheets"] == {"a_day": 2, "sent": 1, "left": 1}
    bulk = bearer.post(f"{SEND}bulk/", {"submissions": [sheet_body(design) for _ in range(3)]}).json()
    assert [item["status"] for item in bulk["results"]] == [201, 429, 429]
    refused = bearer.post(SEND, sheet_body(design))
    assert refused.status_code == 429 and refused.json()["code"] == "allowance_used"
    assert 86_000 < int(refused["Retry-After"]) <= 86_400  # when the oldest of two is a day old
    Sheet.objects.filter(unit__key="first").update(created_at=timezone.now() - timedelta(hours=23))
    assert 3_000 < int(bearer.post(SEND, sheet_body(design))["Retry-After"]) <= 3_600


def test_a_token_without_the_right_to_read_sees_nothing(reader: User) -> None:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(reader, "submit"))
    assert client.get(ME).status_code == 403


def test_answers_beyond_a_day_s_say_when_to_go_on(bearer: APIClient, design: Design, settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 1
    body = {"question": "rest_in_place", "answer": "yes", "source": "did_it"}
    address = f"/api/v1/designs/{design.uuid}/facts/"
    for n in range(ANSWERS_A_SHEET):
        assert bearer.post(address, {**body, "note": f"unit {n}"}).status_code == 201
    refused = bearer.post(address, body)
    assert refused.status_code == 429 and 86_000 < int(refused["Retry-After"]) <= 86_400
