"""Charts by API: stored bytes, strong tags, revisions, differences."""

from __future__ import annotations

import gzip
import json
import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from api.views.charts import CurrentChart as CurrentChartView
from registry.models import ChartRevision, CurrentChart, Design, RevisionFetch, User
from tests.api.made import cell, made_design, made_revision

CHARTS = "/api/v1/charts/"


def test_the_chart_is_the_stored_bytes(guest: APIClient, design: Design) -> None:
    revision = made_revision(design)
    answer = guest.get(f"{CHARTS}{design.uuid}/")
    assert answer.status_code == 200
    assert answer.content.endswith(b',"chart":' + bytes(revision.content) + b"}")
    envelope = answer.json()
    assert (envelope["revision"], envelope["state"], envelope["digest"]) == (1, "published", revision.digest)
    assert envelope["withdrawn"] is None and envelope["published"] == "2026-11-20T09:30:00Z"


def test_the_tag_is_strong_and_answers_304(guest: APIClient, design: Design) -> None:
    revision = made_revision(design)
    address = f"{CHARTS}{design.uuid}/"
    tag = guest.get(address)["ETag"]
    assert tag.startswith(f'"{revision.digest}') and not tag.startswith("W/")
    again = guest.get(address, headers={"If-None-Match": f'"other", {tag}'})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
    assert guest.get(address, headers={"If-None-Match": '"other"'}).status_code == 200


def test_compressed_bytes_have_a_strong_tag_of_their_own(guest: APIClient, design: Design) -> None:
    made_revision(design)
    address = f"{CHARTS}{design.uuid}/"
    plain, zipped = guest.get(address), guest.get(address, headers={"Accept-Encoding": "gzip"})
    assert zipped["Content-Encoding"] == "gzip"
    assert gzip.decompress(zipped.content) == plain.content
    assert zipped["ETag"] != plain["ETag"] and not zipped["ETag"].startswith("W/")
    assert guest.get(address, headers={"If-None-Match": zipped["ETag"]}).status_code == 304
    assert "Accept-Encoding" in plain["Vary"] and "Cookie" not in plain["Vary"]


def test_what_is_unchanged_bears_the_tag_of_the_form_that_would_be_sent(
    guest: APIClient, design: Design
) -> None:
    made_revision(design)
    address, wants = f"{CHARTS}{design.uuid}/", {"Accept-Encoding": "gzip"}
    plain, zipped = guest.get(address)["ETag"], guest.get(address, headers=wants)["ETag"]
    for named, headers, tag in (
        (zipped, wants, zipped),
        (f"{plain}, {zipped}", wants, zipped),
        (f"{plain}, {zipped}", {}, plain),
        ("*", wants, zipped),
        (plain, wants, plain),  # what the client has is good still
    ):
        answer = guest.get(address, headers={"If-None-Match": named, **headers})
        assert (answer.status_code, answer["ETag"]) == (304, tag)


@pytest.mark.parametrize("accept", ["application/json", "application/json;q=0.9", "text/csv"])
def test_nothing_is_compressed_for_whoever_does_not_take_it(
    guest: APIClient, design: Design, accept: str
) -> None:
    """The short way, the long one, and another form."""
    made_revision(design, cells=[cell("R", str(pin), "closed") for pin in range(2, 6)])
    for encoding, zipped in (("gzip;q=0", False), ("br, gzip; q=0.000", False), ("gzip;q=0.1, *;q=0", True)):
        headers = {"Accept": accept, "Accept-Encoding": encoding}
        answer = guest.get(f"{CHARTS}{design.uuid}/", headers=headers)
        assert ("Content-Encoding" in answer) == zipped
        assert "Accept-Encoding" in answer["Vary"]


def test_a_new_revision_changes_the_tag_and_keeps_the_old_address(guest: APIClient, design: Design) -> None:
    made_revision(design, 1)
    address = f"{CHARTS}{design.uuid}/"
    first = guest.get(address)
    made_revision(design, 2)
    second = guest.get(address, headers={"If-None-Match": first["ETag"]})
    assert second.status_code == 200 and second.json()["revision"] == 2
    assert guest.get(f"{address}revisions/1/").content == first.content


def test_a_withdrawn_revision_says_so(guest: APIClient, design: Design) -> None:
    revision = made_revision(design)
    address = f"{CHARTS}{design.uuid}/revisions/1/"
    before = guest.get(address)
    revision.state, revision.withdrawn_at = "withdrawn", revision.published_at
    revision.withdrawn_reason = "two designs were mixed up"
    revision.save()
    after = guest.get(address, headers={"If-None-Match": before["ETag"]})
    assert after.status_code == 200 and after.json()["state"] == "withdrawn"
    assert after.json()["withdrawn"]["reason"] == "two designs were mixed up"


@pytest.mark.parametrize("state", ["held", "refused"])
def test_what_was_never_published_is_not_served(guest: APIClient, design: Design, state: str) -> None:
    made_revision(design, 1)
    made_revision(design, 2, state=state)
    address = f"{CHARTS}{design.uuid}/"
    assert guest.get(address).json()["revision"] == 1
    assert guest.get(f"{address}revisions/2/").status_code == 404
    assert [line["revision"] for line in guest.get(f"{address}revisions/").json()["results"]] == [1]
    assert guest.get(f"{address}difference/", {"from": 1, "to": 2}).status_code == 404


def test_revisions_come_newest_first(guest: APIClient, design: Design) -> None:
    for number in (1, 2, 3):
        made_revision(design, number)
    lines = guest.get(f"{CHARTS}{design.uuid}/revisions/").json()["results"]
    assert [line["revision"] for line in lines] == [3, 2, 1]


def test_the_difference_names_cells_that_read_otherwise(guest: APIClient, design: Design) -> None:
    made_revision(design, 1, cells=[cell("R", "4", "closed"), cell("P", "2", "open")])
    made_revision(design, 2, cells=[cell("R", "4", "open"), cell("P", "2", "open"), cell("N", "3", "open")])
    found = guest.get(f"{CHARTS}{design.uuid}/difference/", {"from": 1, "to": 2}).json()
    assert [(c["position"], c["pin"]) for c in found["cells"]] == [("R", "4"), ("N", "3")]
    assert (found["cells"][0]["from"]["state"], found["cells"][0]["to"]["state"]) == ("closed", "open")
    assert found["cells"][1]["from"] is None
    assert found["variants_added"] == found["variants_removed"] == []


@pytest.mark.parametrize(
    "query",
    [{}, {"from": 1}, {"from": "x", "to": 1}, {"from": 0, "to": 1}, {"from": 1, "to": "00000000001" + "9"}],
)
def test_a_difference_needs_two_numbers(guest: APIClient, design: Design, query: dict[str, Any]) -> None:
    made_revision(design)
    assert guest.get(f"{CHARTS}{design.uuid}/difference/", query).status_code == 400


@pytest.mark.parametrize(
    "tail", ["", "revisions/", "revisions/1/", "revisions/9999999999/", "difference/?from=1&to=2"]
)
def test_nothing_there_is_a_problem(guest: APIClient, db: None, tail: str) -> None:
    answer = guest.get(f"{CHARTS}{uuid.uuid4()}/{tail}")
    assert answer.status_code == 404 and answer.json()["code"] == "not_found"


def test_a_chart_takes_one_query_once_it_is_kept(
    guest: APIClient, design: Design, django_assert_num_queries: Any
) -> None:
    made_revision(design)
    address = f"{CHARTS}{design.uuid}/"
    with django_assert_num_queries(2):  # which revision it is, its bytes
        tag = guest.get(address)["ETag"]
    with django_assert_num_queries(1):
        guest.get(address)
    with django_assert_num_queries(1):
        guest.get(address, headers={"If-None-Match": tag})


def test_who_has_an_account_is_noted_and_a_guest_is_not(
    guest: APIClient, bearer: APIClient, reader: User, design: Design
) -> None:
    made_revision(design)
    guest.get(f"{CHARTS}{design.uuid}/")
    assert not RevisionFetch.objects.exists()
    for _ in range(2):
        assert bearer.get(f"{CHARTS}{design.uuid}/").status_code == 200
    assert [fetch.user for fetch in RevisionFetch.objects.all()] == [reader]


def test_the_short_way_and_the_long_way_say_the_same(
    guest: APIClient, design: Design, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A guest's plain read never reaches a view; with an unusual Accept it does."""
    made_revision(design)
    with monkeypatch.context() as without_view:
        without_view.delattr(CurrentChartView, "get")
        short = guest.get(f"{CHARTS}{design.uuid}/")
    long = guest.get(f"{CHARTS}{design.uuid}/", headers={"Accept": "application/json;q=0.9"})
    assert short.content == long.content and short["ETag"] == long["ETag"]
    for name in ("Cache-Control", "Access-Control-Allow-Origin", "Content-Type", "RateLimit-Policy"):
        assert short[name] == long[name]
    assert guest.get(f"{CHARTS}{design.uuid}/", {"a": 1}).status_code == 400


def test_a_withdrawal_is_seen_at_once(guest: APIClient, design: Design) -> None:
    revision = made_revision(design)
    address = f"{CHARTS}{design.uuid}/"
    tag = guest.get(address)["ETag"]
    ChartRevision.objects.filter(pk=revision.pk).update(
        state="withdrawn", withdrawn_at=revision.published_at, withdrawn_reason="mixed up"
    )
    after = guest.get(address, headers={"If-None-Match": tag})
    assert after.status_code == 200 and after.json()["withdrawn"]["reason"] == "mixed up"


def test_a_chart_withdrawn_and_not_replaced_says_so(guest: APIClient, design: Design) -> None:
    made_revision(design, state="withdrawn", withdrawn_reason="Two designs were mixed up.")
    CurrentChart.objects.all().delete()
    answer = guest.get(f"{CHARTS}{design.uuid}/")
    assert answer.status_code == 410 and answer.json()["code"] == "chart_withdrawn"
    assert answer.json()["revision"] == 1 and "Two designs were mixed up." in answer.json()["detail"]


def test_the_short_way_has_an_end_too(guest: APIClient, design: Design, settings: Any) -> None:
    made_revision(design)
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"anon": "2/hour", "user": "2/hour"}
    found = [guest.get(f"{CHARTS}{design.uuid}/").status_code for _ in range(3)]
    assert found == [200, 200, 429]


def test_the_list_of_charts_takes_one_query_without_the_bytes(
    guest: APIClient, reader: User, django_assert_num_queries: Any
) -> None:
    for n in range(5):
        made_revision(made_design(reader, f"Design {n}"))
    with django_assert_num_queries(1) as seen:
        lines = guest.get(CHARTS).json()["results"]
    assert len(lines) == 5 and lines[0]["name"] == "Design 0"
    assert '"content"' not in seen.captured_queries[0]["sql"]


def test_a_chart_that_is_shown_again_between_two_pages_comes_once(guest: APIClient, reader: User) -> None:
    designs = [made_design(reader, f"Design {n}") for n in range(3)]
    for one in designs:
        made_revision(one)
    first = guest.get(CHARTS, {"page_size": 1}).json()
    shown = CurrentChart.objects.get(design=designs[0])
    shown.delete()  # withdrawn, and replaced by the next computation
    shown.pk = None
    shown.save()
    second = guest.get(first["next"]).json()
    third = guest.get(second["next"]).json()
    names = [line["name"] for page in (first, second, third) for line in page["results"]]
    assert names == ["Design 0", "Design 1", "Design 2"] and third["next"] is None


def test_charts_are_found_by_part_number_and_standing(guest: APIClient, reader: User) -> None:
    made_revision(made_design(reader, "Rake 9"))
    made_revision(made_design(reader, "Ferry"))
    assert [c["name"] for c in guest.get(CHARTS, {"part_number": "AW.RAKE.9"}).json()["results"]] == [
        "Rake 9"
    ]
    assert len(guest.get(CHARTS, {"standing": "provisional"}).json()["results"]) == 2
    assert guest.get(CHARTS, {"standing": "agreed"}).json()["results"] == []


def test_a_page_of_another_site_may_read_but_not_write(guest: APIClient, design: Design) -> None:
    made_revision(design)
    assert guest.get(f"{CHARTS}{design.uuid}/")["Access-Control-Allow-Origin"] == "*"
    asked = guest.options(CHARTS, headers={"Access-Control-Request-Method": "POST"})
    assert asked.status_code == 204 and asked["Access-Control-Allow-Methods"] == "GET, HEAD"
    assert "Access-Control-Allow-Credentials" not in asked
    assert "Access-Control-Allow-Origin" not in guest.post("/api/v1/designs/", {})


def test_the_stored_bytes_are_valid_json(guest: APIClient, design: Design) -> None:
    made_revision(design)
    assert json.loads(guest.get(f"{CHARTS}{design.uuid}/").content)["chart"]["variants"][0]["variant"] == "a"
