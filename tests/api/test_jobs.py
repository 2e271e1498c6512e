"""Jobs by program: the same services, the same refusals; somebody else's job is not found."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from registry.models import Design, Job, Sheet, User
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_token, made_user, sheet_body

AT = "/api/v1/jobs/"


@pytest.fixture
def charted(design: Design) -> Design:
    for name in "abcde":
        sheet_submit(by=made_user(name), body=sheet_body(design, unit={"key": name}))
    chart_refresh(design_id=design.pk)
    return design


def begun(client: APIClient, design: Design | None, **more: Any) -> str:
    body = {"symptom": "silent", "vehicle": "Sweeper 7", "distance_km": 120000, **more}
    if design is not None:
        body["design"] = str(design.uuid)
    answer = client.post(AT, body, format="json")
    assert answer.status_code == 201, answer.content
    return f"{AT}{answer.json()['job']}/"


def step(client: APIClient, at: str, name: str, **data: Any) -> Any:
    return client.post(f"{at}steps/", {"step": name, "data": data}, format="json")


def tries(**starter: str) -> list[dict[str, str]]:
    return [
        {
            "position": label,
            "starter": starter.get(label, "turned" if label in "PN" else "silent"),
            "shown_out": "yes",
            "shown_back": "yes",
        }
        for label in "PRND"
    ]


READY = ["stationary", "chocked", "clear", "seat"]


def test_a_job_from_symptom_to_what_the_registry_gets(
    bearer: APIClient, reader: User, charted: Design
) -> None:
    at = begun(bearer, charted)
    whole = sheet_body(charted)["readings"]
    odd = [{**row, "reading": "OL"} if row["pin"] in "45" else row for row in whole]
    done = [
        step(bearer, at, "ruled_out", checks={"battery": 1}),
        step(bearer, at, "prepared", ready=["part"]),
        step(bearer, at, "removed", distance_km=120000, old_unit_since="fitted_at", fitted_at_km=40000),
        step(bearer, at, "suspect_benched", sheet={"measured_it_myself": True, "readings": odd}),
        step(bearer, at, "new_benched", sheet={"measured_it_myself": True, "readings": whole}),
        step(bearer, at, "fitted", distance_km=120010, on="2026-11-20"),
        step(bearer, at, "verified", ready=READY, codes="none", positions=tries()),
        bearer.post(f"{at}outcome/", {"outcome": "went"}, format="json"),
        *(
            bearer.post(f"{at}give/", {"what": what}, format="json")
            for what in ("new_unit", "old_unit", "outcome")
        ),
    ]
    assert [answer.status_code for answer in done] == [200] * 11, [a.content for a in done]
    job = bearer.get(at).json()
    assert all(each["state"] == "done" for each in job["steps"])
    assert (job["outcome"], job["old_unit_km"], job["stopped"]) == ("went", 80000.0, False)
    assert {unit["unit"]: unit["revision"] for unit in job["units"]} == {"old": 1, "new": 1}
    assert Sheet.objects.filter(contributor__user=reader).count() == 2
    assert {event["act"] for event in job["events"]} == {"done", "sent"}


def test_a_start_elsewhere_stops_the_job(bearer: APIClient, charted: Design) -> None:
    at = begun(bearer, charted)
    for name in ("ruled_out", "prepared", "removed", "suspect_benched", "new_benched"):
        answer = bearer.post(
            f"{at}steps/", {"step": name, "act": "skipped", "reason": "no time"}, format="json"
        )
        assert answer.status_code == 200, answer.content
    step(bearer, at, "fitted")
    answer = step(bearer, at, "verified", positions=tries(R="turned"))
    assert answer.json()["stopped"] is True and answer.json()["next_step"] == "verified"
    skipped = bearer.post(
        f"{at}steps/", {"step": "verified", "act": "skipped", "reason": "no time"}, format="json"
    )
    assert skipped.status_code == 409 and skipped.json()["code"] == "start_elsewhere"


def test_errors_point_into_what_was_sent(bearer: APIClient, charted: Design) -> None:
    at = begun(bearer, charted)
    answer = step(
        bearer,
        at,
        "suspect_benched",
        sheet={
            "measured_it_myself": True,
            "readings": [{"position": "P", "pin": "9", "against": "1", "reading": "1k2k"}],
        },
    )
    assert {error["pointer"] for error in answer.json()["errors"]} == {
        "/data/sheet/readings/0/pin",
        "/data/sheet/readings/0/reading",
    }
    answer = step(bearer, at, "removed", distance_km="far")
    assert answer.json()["errors"][0]["pointer"] == "/data/distance_km"


def test_the_same_job_sent_again_gets_the_first_answer(bearer: APIClient) -> None:
    client_id = str(uuid.uuid4())
    begun(bearer, None, client_id=client_id)
    again = bearer.post(AT, {"symptom": "silent", "client_id": client_id}, format="json")
    assert again.status_code == 200 and Job.objects.count() == 1


def test_the_client_id_of_somebody_elses_job_leads_nowhere(bearer: APIClient, charted: Design) -> None:
    client_id = str(uuid.uuid4())
    begun(bearer, charted, client_id=client_id)
    other = APIClient()
    other.credentials(HTTP_AUTHORIZATION=made_token(made_user("other")))
    answer = other.post(AT, {"symptom": "silent", "client_id": client_id}, format="json")
    assert answer.status_code == 409 and "Sweeper" not in answer.content.decode()


def test_somebody_elses_job_is_not_found(bearer: APIClient, charted: Design) -> None:
    at = begun(bearer, charted)
    other = APIClient()
    other.credentials(HTTP_AUTHORIZATION=made_token(made_user("other")))
    deeds = {
        "steps": {"step": "prepared"},
        "outcome": {"outcome": "went"},
        "reopen": {},
        "recheck": {},
        "give": {"what": "outcome"},
    }
    answers = [other.get(at), other.get(f"{at}report/")]
    answers += [other.post(f"{at}{deed}/", body, format="json") for deed, body in deeds.items()]
    nowhere = [other.get(f"{AT}{uuid.uuid4()}/")]
    for answer in answers:
        assert answer.status_code == 404
        assert json.loads(answer.content)["detail"] == nowhere[0].json()["detail"]
    assert other.get(AT).json()["results"] == []
    assert [line["job"] for line in bearer.get(AT).json()["results"]] == [at.split("/")[-2]]


def test_a_token_that_may_only_read_changes_nothing(reader: User, bearer: APIClient) -> None:
    at = begun(bearer, None)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(reader, "read"))
    assert client.get(at).status_code == 200
    assert client.post(f"{at}steps/", {"step": "prepared"}, format="json").status_code == 403
    assert client.post(AT, {"symptom": "silent"}, format="json").status_code == 403


def test_report_and_account_data(bearer: APIClient, reader: User, charted: Design, client: Any) -> None:
    at = begun(bearer, charted)
    report = bearer.get(f"{at}report/")
    assert report["Content-Type"] == "application/pdf" and report.content.startswith(b"%PDF")
    client.force_login(reader)
    data = json.loads(client.get("/sheets/own/data.json").content)
    assert [job["vehicle"] for job in data["jobs"]] == ["Sweeper 7"]
    assert data["jobs"][0]["events"][0]["private"]["vehicle"] == "Sweeper 7"
