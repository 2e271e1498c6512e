"""Pictures of one's own sheet: encoded anew, four at most, nobody else's business."""

from __future__ import annotations

import base64
import io
from typing import Any

import pytest
from PIL import Image
from rest_framework.test import APIClient

from registry.models import Design
from tests.api.made import made_token, made_user, sheet_body


def picture(shade: int) -> dict[str, str]:
    kept = io.BytesIO()
    Image.new("RGB", (40, 30), (shade, 0, 0)).save(kept, "JPEG")
    return {"picture": base64.b64encode(kept.getvalue()).decode()}


@pytest.fixture
def at(bearer: APIClient, design: Design) -> str:
    sheet: dict[str, Any] = bearer.post("/api/v1/submissions/", sheet_body(design)).json()
    return f"/api/v1/submissions/{sheet['submission']}/pictures/"


def test_four_are_taken_each_once(bearer: APIClient, at: str) -> None:
    for n in (1, 1, 2, 3, 4):
        answer = bearer.post(at, picture(40 * n))
        assert answer.status_code == 201 and answer.json()["order"] == n
    fifth = bearer.post(at, picture(250))
    assert fifth.status_code == 409 and fifth.json()["errors"][0]["pointer"] == "/picture"
    rows = bearer.get(at).json()["results"]
    assert [row["order"] for row in rows] == [1, 2, 3, 4]
    assert bearer.delete(f"{at}{rows[0]['picture']}/").status_code == 204
    assert bearer.delete(f"{at}{rows[0]['picture']}/").status_code == 404
    assert bearer.post(at, picture(250)).json()["order"] == 1


@pytest.mark.parametrize("body", [{}, {"picture": "no"}, {"picture": "////"}, {"picture": 7}])
def test_what_is_no_picture_is_refused(bearer: APIClient, at: str, body: dict[str, Any]) -> None:
    answer = bearer.post(at, body)
    assert answer.status_code == 400 and answer.json()["errors"][0]["pointer"] == "/picture"


def test_others_see_none(bearer: APIClient, at: str, guest: APIClient) -> None:
    other = APIClient()
    other.credentials(HTTP_AUTHORIZATION=made_token(made_user("other")))
    assert (guest.get(at).status_code, other.get(at).status_code) == (401, 403)
    assert other.post(at, picture(9)).status_code == 403
