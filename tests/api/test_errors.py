"""Every error of the API is a problem document, and nothing that a stranger sends is our failure."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from registry.models import Design, User
from tests.api.made import design_body, made_token, sheet_body

PROBLEM = "application/problem+json"


def assert_problem(response: Any, status: int, code: str | None = None) -> dict[str, Any]:
    assert response.status_code == status, response.content
    assert response["Content-Type"] == PROBLEM
    found: dict[str, Any] = json.loads(response.content)
    assert found["status"] == status and found["title"] and found["detail"]
    assert found["type"] == f"urn:benchquorum:problem:{found['code']}"
    assert isinstance(found["errors"], list)
    if code is not None:
        assert found["code"] == code
    return found


@pytest.mark.parametrize(
    "address", ["/api/v1/nothing/", "/api/v1/", "/api/v2/designs/", "/api/", "/api/v1/a\n"]
)
@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_an_unknown_address(guest: APIClient, db: None, address: str, method: str) -> None:
    assert_problem(getattr(guest, method)(address), 404, "not_found")


def test_a_missing_slash_is_put_right_for_reading_and_said_for_writing(guest: APIClient, db: None) -> None:
    moved = guest.get("/api/v1/designs?pins=6")
    assert (moved.status_code, moved["Location"]) == (301, "/api/v1/designs/?pins=6")
    assert "slash" in assert_problem(guest.post("/api/v1/designs", {}), 404)["detail"]


def test_a_method_that_an_address_does_not_know(guest: APIClient, bearer: APIClient, design: Design) -> None:
    for client in (guest, bearer):
        answer = client.delete(f"/api/v1/designs/{design.uuid}/")
        assert_problem(answer, 405, "method_not_allowed")
        assert "GET" in answer["Allow"]


@pytest.mark.parametrize("kind", ["text/plain", "application/xml", "multipart/form-data; boundary=x", ""])
def test_what_is_not_json_is_not_taken(bearer: APIClient, db: None, kind: str) -> None:
    answer = bearer.generic("POST", "/api/v1/designs/", b"name=x", content_type=kind)
    assert_problem(answer, 415)


def test_a_form_that_is_not_offered(guest: APIClient, db: None) -> None:
    assert_problem(guest.get("/api/v1/designs/", headers={"Accept": "image/png"}), 406)


@pytest.mark.parametrize(
    "raw",
    [
        b"{",
        b"",
        b"null",
        b"[]",
        b'"text"',
        b"7",
        b"\xff\xfe",
        b'{"name": "\xed\xa0\x80"}',
        b'{"name": "\\ud800"}',
        b'{"\\ud800": 1}',
        b'{"name": "a\\u0000b"}',
        b'{"name": NaN}',
        b'{"name": 1e999}',
        b'{"name": ' + b"9" * 5000 + b"}",
        b"[" * 100_000,
        b'{"a":' * 5000 + b"1" + b"}" * 5000,
        b'{"name": {"name": ["x"]}, "pins": {"a": 1}, "positions": 4, "common": []}',
        b'{"name": true, "pins": [1, null, []], "positions": [[]], "families": "x", "applications": [3]}',
    ],
)
@pytest.mark.parametrize(
    "address",
    ["designs/", "submissions/", "submissions/bulk/", "submissions/preview/", "check/", "identify/"],
)
def test_a_body_that_makes_no_sense(bearer: APIClient, db: None, address: str, raw: bytes) -> None:
    answer = bearer.generic("POST", f"/api/v1/{address}", raw, content_type="application/json")
    assert_problem(answer, 400)


def test_a_body_beyond_the_limit(bearer: APIClient, db: None, settings: Any) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    body = design_body("x" * 2000)
    assert_problem(bearer.post("/api/v1/designs/", body), 413, "too_large")


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("client_id", "not-an-id"),
        ("client_id", 5),
        ("design", {"a": 1}),
        ("design", "\udc00"),
        ("unit", "7"),
        ("unit", {"key": ["7"]}),
        ("meter", []),
        ("meter", {"limit_ohm": -1}),
        ("meter", {"limit_ohm": {}}),
        ("meter", {"lead_ohm": 1e300}),
        ("read_on", "yesterday"),
        ("read_on", 20261101),
        ("read_on", "9999-01-01"),
        ("distance_km", "far"),
        ("distance_km", -5),
        ("distance_km", 1e308),
        ("units_claimed", 0),
        ("units_claimed", 1.5),
        ("units_claimed", 10**30),
        ("purpose", 3),
        ("purpose", ["known_good"]),
        ("measured_it_myself", "yes"),
        ("note", "a\x1bb"),
        ("rereads", "x"),
        ("readings", None),
        ("readings", {}),
        ("readings", [[]]),
        ("readings", [{"position": "P", "pin": "2", "against": "1", "reading": "OL", "sweep": "two"}]),
        ("readings", [{"position": "P", "pin": "2", "against": "1", "reading": "OL", "sweep": -1}]),
        ("readings", [{"position": "P", "pin": "2", "against": "1", "reading": {"a": 1}}]),
        ("readings", [{"position": "P", "pin": "2", "against": "1", "reading": "9" * 500}]),
        ("readings", [{"position": "P", "pin": "2", "against": "2", "reading": "OL"}]),
        ("readings", [{"position": ["P"], "pin": "2", "against": "1", "reading": "OL"}]),
        ("second_pass", "x"),
    ],
)
def test_a_field_that_cannot_be(bearer: APIClient, design: Design, field: str, value: Any) -> None:
    body = {**sheet_body(design), field: value}
    raw = json.dumps(body).encode("utf-8")
    answer = bearer.generic("POST", "/api/v1/submissions/", raw, content_type="application/json")
    found = assert_problem(answer, 400)
    assert all(fault["pointer"].startswith(f"/{field}") for fault in found["errors"])


@pytest.mark.parametrize(
    "header", ["Token", "Token a b", "Token nonsense", "Bearer \xff", "Token " + "x" * 9000]
)
def test_a_token_that_is_none(guest: APIClient, db: None, header: str) -> None:
    answer = guest.get("/api/v1/submissions/", headers={"Authorization": header})
    assert_problem(answer, 401)
    assert answer["WWW-Authenticate"].startswith("Token ")


def test_a_wrong_token_is_said_on_open_addresses_too(guest: APIClient, design: Design) -> None:
    assert_problem(guest.get("/api/v1/designs/", headers={"Authorization": "Token nonsense"}), 401)


def test_a_session_needs_csrf_to_write(reader: User, design: Design) -> None:
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(reader)
    body = json.dumps(sheet_body(design))
    refused = browser.post("/api/v1/submissions/", body, content_type="application/json")
    assert_problem(refused, 403, "csrf_failed")
    browser.cookies["csrftoken"] = "a" * 32
    taken = browser.post(
        "/api/v1/submissions/", body, content_type="application/json", headers={"X-CSRFToken": "a" * 32}
    )
    assert taken.status_code == 201


def test_our_own_failure_shows_no_trace(guest: APIClient, db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise RuntimeError("secret of the house")

    monkeypatch.setattr("api.views.designs.designs_for_api", broken)
    answer = guest.get("/api/v1/designs/")
    found = assert_problem(answer, 500, "unexpected")
    assert "secret" not in json.dumps(found) and "Traceback" not in answer.content.decode()


def test_a_strange_host(guest: APIClient, db: None) -> None:
    assert_problem(guest.get("/api/v1/designs/", headers={"Host": "evil.example"}), 400)


def test_a_throttled_caller_learns_when_to_come_back(
    guest: APIClient, reader: User, db: None, settings: Any
) -> None:
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"anon": "3/hour", "user": "5/minute"}
    left = [guest.get("/api/v1/designs/")["RateLimit"] for _ in range(3)]
    assert [word.split(";")[1] for word in left] == ["r=2", "r=1", "r=0"]
    answer = guest.get("/api/v1/designs/")
    assert_problem(answer, 429, "throttled")
    assert 1000 < int(answer["Retry-After"]) <= 1200
    assert answer["RateLimit-Policy"] == '"anon";q=3;w=3600'
    # A token has an allowance of its own, and so has another address.
    assert guest.get("/api/v1/designs/", headers={"Authorization": made_token(reader)}).status_code == 200
    assert guest.get("/api/v1/designs/", REMOTE_ADDR="10.1.2.3").status_code == 200
    # A made-up forwarded address is not believed.
    assert guest.get("/api/v1/designs/", headers={"X-Forwarded-For": "10.9.9.9"}).status_code == 429


def test_a_caller_with_a_network_of_ipv6_has_one_allowance(guest: APIClient, db: None, settings: Any) -> None:
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"anon": "3/hour", "user": "5/minute"}
    asked = [guest.get("/api/v1/designs/", REMOTE_ADDR=f"2001:db8:1:2::{n}").status_code for n in range(4)]
    assert asked == [200, 200, 200, 429]
    assert guest.get("/api/v1/designs/", REMOTE_ADDR="2001:db8:1:3::1").status_code == 200


def test_refused_requests_use_the_allowance_too(guest: APIClient, reader: User, settings: Any) -> None:
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"anon": "4/hour", "user": "1/hour"}
    made_up, reads = {"Authorization": "Token nonsense"}, {"Authorization": made_token(reader, "read")}
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(reader)
    for left, status, ask in (
        ("r=3", 401, lambda: guest.get("/api/v1/designs/", headers=made_up)),
        ("r=2", 401, lambda: guest.post("/api/v1/submissions/bulk/", {})),
        ("r=1", 405, lambda: guest.delete("/api/v1/designs/")),
        ("r=0", 403, lambda: browser.post("/api/v1/designs/")),
        ("r=0", 403, lambda: guest.post("/api/v1/designs/", {}, headers=reads)),
    ):
        answer = ask()
        assert (answer.status_code, answer["RateLimit"].split(";")[1]) == (status, left)
    for headers in (made_up, reads):
        spent = guest.post("/api/v1/designs/", {}, headers=headers)
        assert_problem(spent, 429, "throttled")
        assert int(spent["Retry-After"]) > 0


def test_what_costs_more_uses_more(guest: APIClient, design: Design, settings: Any) -> None:
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"anon": "10/hour", "user": "10/hour"}
    assert guest.post("/api/v1/check/", {})["RateLimit"].split(";")[1] == "r=5"


def test_nothing_private_is_in_an_error(bearer: APIClient, reader: User, design: Design) -> None:
    answer = bearer.post("/api/v1/submissions/", {**sheet_body(design), "name": 5})
    assert reader.email not in answer.content.decode()
