"""Labels that a spreadsheet would run, as an older registry let them in: a template filled in is read."""

from __future__ import annotations

import base64
import io

import pytest
from django.test import Client
from openpyxl import load_workbook

from registry.models import Design, Pin, Position, Reading, User
from registry.services.imports.files import file_import, file_preview
from tests.api.made import made_design, made_user
from tests.registry.services.test_import_files import asked

pytestmark = pytest.mark.django_db


@pytest.fixture
def user() -> User:
    return made_user()


@pytest.fixture
def design(user: User) -> Design:
    return made_design(user)


def odd_labels(design: Design) -> None:
    for label, odd in (("P", "=1"), ("R", "-1+2")):
        Position.objects.filter(design=design, label=label).update(label=odd)
    for label, odd in (("1", "@c"), ("2", "+1-2")):
        Pin.objects.filter(connector__design=design, label=label).update(label=odd)


def test_a_template_of_odd_labels_comes_back_filled_in(user: User, design: Design, client: Client) -> None:
    odd_labels(design)
    book = load_workbook(io.BytesIO(client.get(f"/designs/{design.uuid}/import/template.xlsx").content))
    sheet = book.active
    assert [sheet[place].value for place in ("D2", "E2", "F2")] == ["'=1", "'+1-2", "'@c"]
    sheet["A2"], sheet["G2"] = "shelf 3", "0.4"
    sheet["A3"], sheet["D3"], sheet["G3"] = "shelf 3", "'=1/'-1+2", "OL"
    kept = io.BytesIO()
    book.save(kept)
    content = base64.b64encode(kept.getvalue()).decode()
    preview = file_preview(by=user, asked=asked(design, content, encoding="base64"))
    assert (preview["errors"], preview["readings_new"]) == ([], 2)
    assert file_import(by=user, asked=asked(design, content, encoding="base64"))["readings_new"] == 2
    places = Reading.objects.values_list("place__position__label", "place__between", "place__pin_a__label",
                                         "place__pin_b__label", "as_typed")  # fmt: skip
    assert {(*one[:2], *sorted(one[2:4]), one[4]) for one in places} == {
        ("=1", False, "+1-2", "@c", "0.4"), ("=1", True, "3", "@c", "OL"),
    }  # fmt: skip
    again = file_import(by=user, asked=asked(design, content, encoding="base64"))
    assert (again["sheets_new"], again["sheets_known"]) == (0, 1)


def test_a_label_that_begins_with_an_apostrophe_itself_is_that_label(user: User, design: Design) -> None:
    Position.objects.filter(design=design, label="P").update(label="'=1")
    file_import(by=user, asked=asked(design, "unit,position,pin,reading\nshelf 3,'=1,2,0.4\n"))
    assert Reading.objects.get().place.position.label == "'=1"
