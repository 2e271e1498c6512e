"""A chart in its other forms: the one that is wanted most, each with a tag of its own."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ElementTree

import pytest
from rest_framework.test import APIClient

from registry.models import Connector, Design, User
from tests.api.made import cell, made_design, made_revision

CHARTS = "/api/v1/charts/"


def test_a_chart_comes_as_a_table_and_as_a_drawing(guest: APIClient, design: Design) -> None:
    made_revision(design, cells=[cell("R", "4", "closed"), cell("=P", "2", "open")])
    address = f"{CHARTS}{design.uuid}/"
    table = guest.get(address, headers={"Accept": "text/csv"})
    assert table["Content-Type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(table.content.decode())))
    assert [(r["position"], r["pin"], r["state"], r["units"]) for r in rows] == [
        ("R", "4", "closed", "4"),
        ("'=P", "2", "open", "4"),
    ]
    assert (
        guest.get(address, headers={"Accept": "text/csv", "If-None-Match": table["ETag"]}).status_code == 304
    )
    assert table["ETag"] != guest.get(address)["ETag"]
    drawing = guest.get(f"{address}revisions/1/", headers={"Accept": "image/svg+xml"})
    root = ElementTree.fromstring(drawing.content)
    assert root.tag == "{http://www.w3.org/2000/svg}svg" and b"4 of 4" in drawing.content
    assert "sandbox" in drawing["Content-Security-Policy"]


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("application/json;q=0.1, text/csv", "text/csv; charset=utf-8"),
        ("application/json;q=0, text/csv", "text/csv; charset=utf-8"),
        ("text/csv;q=0.2, application/pdf;q=0.1, application/json;q=0.3", "application/json"),
        ("*/*;q=0.1, image/svg+xml;q=0.2", "image/svg+xml; charset=utf-8"),
        ("application/json;q=0, */*", "text/csv; charset=utf-8"),
        ("text/csv, application/json", "application/json"),  # the same to the client, so as we like it
        ("*/*, text/csv", "text/csv; charset=utf-8"),  # named more closely
        ("image/*", "image/svg+xml; charset=utf-8"),
        ("text/csv;q=much, application/json;q=0.9", "text/csv; charset=utf-8"),
        ("application/json;q=0", None),
        ("text/html", None),
    ],
)
def test_the_form_is_the_one_that_is_wanted_most(
    guest: APIClient, design: Design, accept: str, kind: str | None
) -> None:
    made_revision(design)
    answer = guest.get(f"{CHARTS}{design.uuid}/", headers={"Accept": accept})
    assert (answer.status_code, answer["Content-Type"] if kind else None) == (200 if kind else 406, kind)


def test_a_print_comes_by_accept_with_a_tag_of_its_own(guest: APIClient, design: Design) -> None:
    made_revision(design)
    address, wants = f"{CHARTS}{design.uuid}/", {"Accept": "application/pdf"}
    made = guest.get(address, headers=wants)
    assert made["Content-Type"] == "application/pdf" and made.content.startswith(b"%PDF-")
    assert made.content == guest.get(f"{address}revisions/1/", headers=wants).content
    assert guest.get(address, headers={**wants, "If-None-Match": made["ETag"]}).status_code == 304
    assert made["ETag"] != guest.get(address)["ETag"]


@pytest.mark.parametrize("kind", ["image/svg+xml", "application/pdf"])
def test_in_another_language_it_has_another_tag(guest: APIClient, design: Design, kind: str) -> None:
    made_revision(design)
    address, wants = f"{CHARTS}{design.uuid}/", {"Accept": kind}
    english, german = (guest.get(address, headers={**wants, "Accept-Language": w}) for w in ("en", "de"))
    assert english["ETag"] != german["ETag"] and english.content != german.content
    asked = {**wants, "Accept-Language": "de", "If-None-Match": english["ETag"]}
    assert guest.get(address, headers=asked).status_code == 200


def test_a_print_of_a_connector_that_was_drawn_anew_has_another_tag(guest: APIClient, design: Design) -> None:
    made_revision(design)
    address, wants = f"{CHARTS}{design.uuid}/", {"Accept": "application/pdf"}
    before = guest.get(address, headers=wants)
    Connector.objects.filter(design=design).update(landmark="a lug that nobody had seen")
    after = guest.get(address, headers=wants)
    assert before["ETag"] != after["ETag"] and before.content != after.content


def test_a_name_in_a_drawing_is_text(guest: APIClient, reader: User) -> None:
    made_revision(made := made_design(reader, "<script>alert(1)</script>"))
    drawing = guest.get(f"{CHARTS}{made.uuid}/", headers={"Accept": "image/svg+xml"})
    assert b"<script" not in drawing.content and b"&lt;script" in drawing.content
