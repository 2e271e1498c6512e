"""Lists as tables: the same lines, the same heads on every page, the next page in the Link header."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from rest_framework.test import APIClient

from registry.models import Design, User
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import design_body, made_design, made_user, sheet_body

TABLE = {"Accept": "text/csv"}


@pytest.fixture
def charted(reader: User, design: Design) -> Design:
    """With a chart, three sheets and a design beside it that has none."""
    for n, user in enumerate((reader, made_user("b"), made_user("c"))):
        sheet_submit(by=user, body=sheet_body(design, unit={"key": str(n)}))
    chart_refresh(design_id=design.pk)
    beside = made_design(reader, "Rake, 9")
    Design.objects.filter(pk=beside.pk).update(name="=Rake, 9")  # from before there was a rule
    return design


def flat(line: dict[str, Any], at: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in line.items():
        found |= flat(value, f"{at}{name}.") if isinstance(value, dict) else {f"{at}{name}": value}
    return found


def rows_of(answer: Any) -> list[dict[str, str]]:
    assert answer.status_code == 200 and answer["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.content.decode(), newline="")))


@pytest.mark.parametrize(
    "address",
    [
        "designs/",
        "charts/",
        "charts/{design}/revisions/",
        "charts/{design}/readings/",
        "charts/{design}/revisions/1/readings/",
        "findings/",
        "submissions/",
    ],
)
def test_a_table_has_the_fields_of_the_lines(bearer: APIClient, charted: Design, address: str) -> None:
    address = f"/api/v1/{address.format(design=charted.uuid)}"
    lines = [flat(line) for line in bearer.get(address).json()["results"]]
    rows = rows_of(bearer.get(address, headers=TABLE))
    assert list(rows[0]) == list(lines[0]) and len(rows) == len(lines)
    for row, line in zip(rows, lines, strict=True):
        for name, value in line.items():
            if isinstance(value, int | float) and not isinstance(value, bool):
                assert float(row[name]) == value
            elif isinstance(value, str) and not value.startswith("="):
                assert row[name] == value


def test_what_is_null_is_empty_and_no_text_is_a_formula(guest: APIClient, charted: Design) -> None:
    with_chart, without = rows_of(guest.get("/api/v1/designs/", headers=TABLE))
    assert (with_chart["chart.units"], without["chart.units"]) == ("3", "")
    assert without["name"] == "'=Rake, 9" and without["pins"] == "1; 2; 3; 4; 5"
    assert json.loads(without["part_numbers"])[0]["number"] == "AW-Rake, 9"


def test_a_table_goes_on_where_its_link_says(guest: APIClient, charted: Design) -> None:
    address = f"/api/v1/charts/{charted.uuid}/readings/"
    whole, seen, at = rows_of(guest.get(address, {"page_size": 200}, headers=TABLE)), [], address
    while at:
        answer = guest.get(at, {} if "?" in at else {"page_size": 20}, headers=TABLE)
        seen += rows_of(answer)
        links = dict(reversed(link.split("; ")) for link in answer.get("Link", "").split(", ") if link)
        at = links.get('rel="next"', "").strip("<>")
    assert seen == whole and len(seen) == 48


def test_an_empty_list_still_has_its_heads(guest: APIClient, db: None) -> None:
    answer = guest.get("/api/v1/findings/", headers=TABLE)
    assert answer.content.decode().startswith("finding,p,submission,") and rows_of(answer) == []


def test_what_is_sent_is_not_answered_by_a_table(bearer: APIClient, db: None) -> None:
    answer = bearer.post("/api/v1/designs/", design_body(), headers=TABLE)
    assert answer.status_code == 406 and not Design.objects.exists()


def test_a_table_takes_as_many_queries_as_the_list(
    guest: APIClient, charted: Design, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(6):
        guest.get("/api/v1/designs/", headers=TABLE)
