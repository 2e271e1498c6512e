"""Bench sheets by API: sent once, read by all, amended on the version seen, withdrawn and brought back."""

from __future__ import annotations

import copy
import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from api.views import submissions
from registry.models import Design, Reading, Sheet, SheetVersion, Unit, User
from tests.api.made import made_token, made_user, sheet_body

SEND = "/api/v1/submissions/"


@pytest.fixture(autouse=True)
def no_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether a chart is computed is the subject of other tests; here refreshes are only counted."""
    monkeypatch.setattr("registry.services.refreshes.refresh_chart", Refreshes)
    Refreshes.asked.clear()


class Refreshes:
    asked: list[int] = []

    @classmethod
    def enqueue(cls, design_id: int) -> None:
        cls.asked.append(design_id)


@pytest.fixture
def other(db: None) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(made_user("colleague")))
    return client


def sent(client: APIClient, design: Design, **more: Any) -> dict[str, Any]:
    answer = client.post(SEND, sheet_body(design, **more))
    assert answer.status_code == 201, answer.content
    found: dict[str, Any] = answer.json()
    return found


def test_a_sheet_is_sent_and_read_back_as_typed(bearer: APIClient, guest: APIClient, design: Design) -> None:
    body = sheet_body(design)
    answer = bearer.post(SEND, body)
    assert answer.status_code == 201
    sheet = guest.get(answer["Location"]).json()
    assert [r["reading"] for r in sheet["readings"]] == [r["reading"] for r in body["readings"]]
    assert sheet["readings"][0]["low_ohm"] == 0.4 and sheet["readings"][1]["kind"] == "over_limit"
    assert sheet["contributor"].startswith("c-")


def test_a_guest_sees_no_note_no_tag_and_no_name_of_the_unit(
    bearer: APIClient, guest: APIClient, design: Design
) -> None:
    sheet = sent(bearer, design)
    assert sheet["own"]["note"] == "my number is 555 0100"
    public = guest.get(f"{SEND}{sheet['submission']}/").content.decode()
    for private in ("555 0100", "ward-3", "reader@", "workshop.example", sheet["own"]["client_id"]):
        assert private not in public


def test_without_an_account_nothing_is_sent(guest: APIClient, design: Design) -> None:
    answer = guest.post(SEND, sheet_body(design))
    assert answer.status_code == 401 and answer["WWW-Authenticate"].startswith("Token")
    assert not Sheet.objects.exists()


def test_the_same_client_id_again_gets_the_first_answer(bearer: APIClient, design: Design) -> None:
    body = sheet_body(design)
    first, again = bearer.post(SEND, body), bearer.post(SEND, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert Sheet.objects.count() == 1


def test_the_same_client_id_with_other_readings_is_an_error(bearer: APIClient, design: Design) -> None:
    body = sheet_body(design)
    bearer.post(SEND, body)
    body["readings"][0]["reading"] = "12"
    answer = bearer.post(SEND, body)
    assert answer.status_code == 409 and answer.json()["code"] == "client_id_used"


def test_an_idempotency_key_does_the_same_for_a_body_without_an_id(bearer: APIClient, design: Design) -> None:
    body = sheet_body(design)
    del body["client_id"]
    key = {"Idempotency-Key": '"5a6f"'}
    first, again = bearer.post(SEND, body, headers=key), bearer.post(SEND, body, headers=key)
    assert (first.status_code, again.status_code) == (201, 200) and first.json() == again.json()
    assert again["Idempotency-Replayed"] == "true"
    for name in ("Location", "ETag", "Cache-Control"):
        assert again[name] == first[name]
    body["readings"][0]["reading"] = "12"
    assert bearer.post(SEND, body, headers=key).status_code == 422
    assert Sheet.objects.count() == 1


def test_all_faults_come_in_one_go_each_at_its_place(bearer: APIClient, design: Design) -> None:
    body = sheet_body(design)
    body["readings"][3]["reading"] = "1k2k"
    body["readings"][5]["pin"] = "9"
    body["held_good"] = "surely"
    answer = bearer.post(SEND, body)
    assert answer.status_code == 400 and answer["Content-Type"] == "application/problem+json"
    found = {fault["pointer"]: fault for fault in answer.json()["errors"]}
    assert set(found) == {"/readings/3/reading", "/readings/5/pin", "/held_good"}
    assert all(fault["detail"] and fault["advice"] for fault in found.values())
    assert not Sheet.objects.exists()


def test_it_needs_the_word_that_one_measured_it(bearer: APIClient, design: Design) -> None:
    answer = bearer.post(SEND, sheet_body(design, measured_it_myself=False))
    assert answer.status_code == 400 and answer.json()["code"] == "not_measured"


def test_the_list_shows_only_ones_own(
    bearer: APIClient, other: APIClient, guest: APIClient, design: Design
) -> None:
    sent(bearer, design, name="mine")
    sent(other, design, name="theirs")
    assert [line["name"] for line in bearer.get(SEND).json()["results"]] == ["mine"]
    assert guest.get(SEND).status_code == 401


def test_a_list_of_fifty_takes_as_many_queries_as_one(
    bearer: APIClient, design: Design, django_assert_max_num_queries: Any
) -> None:
    sent(bearer, design)
    bearer.get(SEND)  # the allowance's factor is looked up once an hour
    with django_assert_max_num_queries(6) as one:
        bearer.get(SEND)
    bodies = [sheet_body(design) for _ in range(49)]
    assert bearer.post(f"{SEND}bulk/", {"submissions": bodies}).json()["stored"] == 49
    with django_assert_max_num_queries(6) as fifty:
        assert len(bearer.get(SEND).json()["results"]) == 50
    assert len(one) == len(fifty)


def test_an_amendment_names_the_version_that_was_seen(bearer: APIClient, design: Design) -> None:
    sheet = sent(bearer, design)
    address = f"{SEND}{sheet['submission']}/"
    body = {**sheet["own"], "reason": "pin 2 had slipped"}
    body["readings"][0]["reading"] = "0.6"
    assert bearer.put(address, body).status_code == 428
    tag = bearer.get(address)["ETag"]
    amended = bearer.put(address, body, headers={"If-Match": tag})
    assert amended.status_code == 200 and amended.json()["version"] == 2
    assert amended.json()["readings"][0]["reading"] == "0.6"
    assert bearer.put(address, body, headers={"If-Match": tag}).status_code == 412
    stale = bearer.put(address, {**body, "on_version": 1})
    assert stale.status_code == 409 and stale.json()["code"] == "version_stale"
    assert SheetVersion.objects.count() == 2
    assert Reading.objects.filter(version__number=1).count() == len(body["readings"])


def test_an_amendment_that_another_overtakes_after_its_tag_was_read_is_told_so(
    bearer: APIClient, design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"{SEND}{sent(bearer, design)['submission']}/"
    tag, read = bearer.get(address)["ETag"], submissions.body_to_amend
    quicker = {"on_version": 1, "reason": "x", "source_class": "equivalent"}

    def overtaken(*args: Any, **more: Any) -> Any:
        monkeypatch.setattr(submissions, "body_to_amend", read)
        assert bearer.patch(address, quicker).status_code == 200
        return read(*args, **more)

    monkeypatch.setattr(submissions, "body_to_amend", overtaken)
    late = bearer.patch(address, {"reason": "x", "note": "y"}, headers={"If-Match": tag})
    assert late.status_code == 412 and late.json()["code"] == "version_stale"
    assert SheetVersion.objects.count() == 2


def test_a_tag_names_the_version_though_it_came_compressed(bearer: APIClient, design: Design) -> None:
    address = f"{SEND}{sent(bearer, design)['submission']}/"
    seen = bearer.get(address, headers={"Accept-Encoding": "gzip"})
    assert seen["Content-Encoding"] == "gzip" and seen["ETag"].startswith('W/"')
    body = {"reason": "an equivalent part", "source_class": "equivalent"}
    for tag, status in ((seen["ETag"], 200), (seen["ETag"], 412), ('"other", *', 200)):
        assert bearer.patch(address, body, headers={"If-Match": tag}).status_code == status


def test_a_patch_keeps_what_it_leaves_out(bearer: APIClient, design: Design) -> None:
    sheet = sent(bearer, design, meter={"name": "bench", "lead_ohm": 0.2, "limit_ohm": "2M"})
    answer = bearer.patch(
        f"{SEND}{sheet['submission']}/",
        {"on_version": 1, "reason": "an equivalent part", "source_class": "equivalent"},
    )
    assert answer.status_code == 200, answer.content
    after = answer.json()
    assert after["source_class"] == "equivalent" and after["version"] == 2
    assert after["readings"] == sheet["readings"]
    assert {**after["own"], "source_class": ""} == {**sheet["own"], "source_class": ""}


def test_nobody_amends_or_withdraws_anothers_sheet(
    bearer: APIClient, other: APIClient, design: Design
) -> None:
    sheet = sent(bearer, design)
    address = f"{SEND}{sheet['submission']}/"
    refused = other.patch(address, {"on_version": 1, "reason": "x", "source_class": "equivalent"})
    assert refused.status_code == 403
    assert refused.json()["detail"] == "Only the contributor of a sheet can amend it."
    assert other.post(f"{address}withdraw/", {"reason": "x"}).status_code == 403
    assert SheetVersion.objects.count() == 1


def test_a_withdrawn_sheet_is_gone_for_others_and_can_come_back(
    bearer: APIClient, guest: APIClient, design: Design
) -> None:
    address = f"{SEND}{sent(bearer, design)['submission']}/"
    assert bearer.post(f"{address}withdraw/", {}).status_code == 400
    assert bearer.post(f"{address}withdraw/", {"reason": "it was faulty"}).json()["withdrawn"]
    assert guest.get(address).status_code == 410
    assert bearer.get(address).status_code == 200
    assert bearer.post(f"{address}restore/").json()["withdrawn"] is None
    assert guest.get(address).status_code == 200


@pytest.mark.parametrize(("act", "withdrawn_first"), [("withdraw/", False), ("restore/", True)])
def test_a_sheet_that_was_amended_meanwhile_is_neither_withdrawn_nor_brought_back(
    bearer: APIClient, design: Design, act: str, withdrawn_first: bool
) -> None:
    address = f"{SEND}{sent(bearer, design)['submission']}/"
    old = bearer.get(address)["ETag"]
    bearer.patch(address, {"on_version": 1, "reason": "x", "source_class": "equivalent"})
    if withdrawn_first:
        bearer.post(f"{address}withdraw/", {"reason": "x"})
    refused = bearer.post(f"{address}{act}", {"reason": "x"}, headers={"If-Match": old})
    assert refused.status_code == 412 and refused.json()["code"] == "version_stale"
    assert Sheet.objects.filter(withdrawn_at__isnull=False).exists() == withdrawn_first
    seen = bearer.get(address)["ETag"]
    assert bearer.post(f"{address}{act}", {"reason": "x"}, headers={"If-Match": seen}).status_code == 200


def test_bulk_answers_for_each_sheet(bearer: APIClient, design: Design) -> None:
    good, bad, twice = sheet_body(design), sheet_body(design), sheet_body(design)
    bad["readings"][2]["reading"] = "1k2k"
    changed = copy.deepcopy(twice)
    changed["readings"][0]["reading"] = "5"
    answer = bearer.post(f"{SEND}bulk/", {"submissions": [good, bad, twice, twice, changed, 7]})
    assert answer.status_code == 200, answer.content
    found = answer.json()
    assert (found["stored"], found["known"], found["refused"]) == (2, 1, 3)
    assert [item["status"] for item in found["results"]] == [201, 400, 201, 200, 409, 400]
    assert found["results"][1]["problem"]["errors"][0]["pointer"] == "/submissions/1/readings/2/reading"
    assert Sheet.objects.count() == 2


def test_bulk_makes_the_same_rows_as_sending_one_by_one(bearer: APIClient, design: Design) -> None:
    meter = {"name": "bench", "lead_ohm": 0.2, "limit_ohm": "2M", "apart_shows": "1"}
    body = sheet_body(design, meter=meter, read_on="2026-11-01", distance_km=1200)
    one = bearer.post(SEND, {**body, "client_id": str(uuid.uuid4())}).json()
    bulk = bearer.post(f"{SEND}bulk/", {"submissions": [{**body, "client_id": str(uuid.uuid4())}]}).json()
    many = bearer.get(f"{SEND}{bulk['results'][0]['submission']}/").json()
    apart = ("submission", "sent", "amended", "own")
    assert {k: v for k, v in one.items() if k not in apart} == {
        k: v for k, v in many.items() if k not in apart
    }
    assert one["own"]["meter"] == many["own"]["meter"]


def test_bulk_sent_again_adds_nothing_and_refreshes_each_design_once(
    bearer: APIClient, design: Design, django_capture_on_commit_callbacks: Any
) -> None:
    bodies = {"submissions": [sheet_body(design) for _ in range(20)]}
    with django_capture_on_commit_callbacks(execute=True):
        first = bearer.post(f"{SEND}bulk/", bodies).json()
    assert Refreshes.asked == [design.pk]
    Design.objects.update(stale=False)  # as the refresh would have left it
    with django_capture_on_commit_callbacks(execute=True):
        again = bearer.post(f"{SEND}bulk/", bodies).json()
    assert (first["stored"], again["stored"], again["known"]) == (20, 0, 20)
    assert Refreshes.asked == [design.pk] and Sheet.objects.count() == 20
    Design.objects.update(stale=True)  # as a process leaves it that was killed before the refresh
    with django_capture_on_commit_callbacks(execute=True):
        bearer.post(f"{SEND}bulk/", bodies)
    assert Refreshes.asked == [design.pk, design.pk]


@pytest.mark.parametrize("bodies", [None, {}, [], "x", [{}] * 5001])
def test_bulk_takes_a_list_of_a_fair_length(bearer: APIClient, design: Design, bodies: Any) -> None:
    answer = bearer.post(f"{SEND}bulk/", {"submissions": bodies})
    assert answer.status_code == 400 and answer.json()["errors"][0]["pointer"] == "/submissions"


def test_a_suspended_account_is_told_so(bearer: APIClient, reader: User, design: Design) -> None:
    User.objects.filter(pk=reader.pk).update(suspended_at="2026-11-01T00:00Z")
    answer = bearer.post(SEND, sheet_body(design))
    assert answer.status_code == 403 and "suspended" in answer.json()["detail"]


def test_a_tag_from_before_it_was_withdrawn_restores_nothing(bearer: APIClient, design: Design) -> None:
    address = bearer.post("/api/v1/submissions/", sheet_body(design)).headers["Location"]
    seen = bearer.get(address).headers["ETag"]
    assert bearer.post(f"{address}withdraw/", {"reason": "x"}, headers={"If-Match": seen}).status_code == 200
    assert bearer.get(address).headers["ETag"] != seen
    assert bearer.post(f"{address}restore/", {"reason": "x"}, headers={"If-Match": seen}).status_code == 412


def test_a_name_of_before_the_rule_stays_where_something_else_is_amended(
    bearer: APIClient, design: Design
) -> None:
    address = bearer.post("/api/v1/submissions/", sheet_body(design)).headers["Location"]
    Unit.objects.update(tag_code="-40-2")
    seen = bearer.get(address).headers["ETag"]
    kept = {"note": "new", "reason": "x"}
    assert bearer.patch(address, kept, headers={"If-Match": seen}).status_code == 200
    seen = bearer.get(address).headers["ETag"]
    other = {"unit": {"tag_code": "=1+1"}, "reason": "x"}
    assert bearer.patch(address, other, headers={"If-Match": seen}).status_code == 400
