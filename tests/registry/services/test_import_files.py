"""A person's own spreadsheet: columns mapped and remembered, each cell's fate shown."""

from __future__ import annotations

import base64
import io
from datetime import date
from typing import Any

import pytest
from django.test import Client
from openpyxl import Workbook, load_workbook

from registry.errors import RegistryErrors
from registry.formats.design_template import design_template
from registry.models import ColumnMapping, Design, Reading, Sheet, User
from registry.services.imports.files import file_import, file_preview
from tests.api.made import made_design, made_user

pytestmark = pytest.mark.django_db
WIDE = (
    "Switch;Gear;Pin 2;Pin 3;2/3;remarks\nshelf 3;P;0,4;OL;;first\nshelf 3;P/R;;1k2;OL;\nshelf 4;R;cont;;;\n"
)
LONG = "unit,position,pin,reading\nshelf 3,P,2,0.4\nshelf 3,P,3,OL\nshelf 3,R,2,\n"


@pytest.fixture
def user() -> User:
    return made_user()


@pytest.fixture
def design(user: User) -> Design:
    return made_design(user)


def asked(design: Design | None, content: str, **more: Any) -> dict[str, Any]:
    return {
        "design": None if design is None else str(design.uuid),
        "content": content,
        "measured_it_myself": True,
        **more,
    }


def fates(preview: dict[str, Any]) -> list[list[str]]:
    return [[cell["fate"] for cell in row["cells"]] for row in preview["rows"]]


def test_each_cell_of_a_wide_table_has_its_fate(user: User, design: Design) -> None:
    preview = file_preview(by=user, asked=asked(design, WIDE))
    roles = [column["role"] for column in preview["columns"]]
    assert roles == ["unit", "position", "pin:2", "pin:3", "pin:2/3", "ignore"]
    assert fates(preview)[0] == ["taken", "taken", "taken", "taken", "not_taken", "left_out"]
    assert [cell["says"] for cell in preview["rows"][0]["cells"]][2:4] == ["0.4 Ω", "over the limit"]
    assert (preview["sheets_new"], preview["readings_new"], preview["errors"]) == (2, 5, [])
    assert not Sheet.objects.exists() and not ColumnMapping.objects.exists()


def test_what_is_stored_is_what_was_typed(user: User, design: Design) -> None:
    done = file_import(by=user, asked=asked(design, WIDE))
    assert (done["sheets_new"], done["readings_new"]) == (2, 5)
    rows = Reading.objects.order_by("pk").values_list(
        "version__sheet__name", "place__position__label", "place__between", "as_typed"
    )
    assert set(rows) == {
        ("shelf 3", "P", False, "0,4"),
        ("shelf 3", "P", False, "OL"),
        ("shelf 3", "P", True, "1k2"),
        ("shelf 3", "P", True, "OL"),
        ("shelf 4", "R", False, "cont"),
    }
    assert {sheet.contributor.user for sheet in Sheet.objects.all()} == {user}
    again = file_import(by=user, asked=asked(design, WIDE))
    assert (again["sheets_new"], again["sheets_known"]) == (0, 2) and Reading.objects.count() == 5


def test_the_columns_are_remembered_for_the_next_file_of_this_form(user: User, design: Design) -> None:
    own = "A;B;C\nshelf 3;P;0.4\n"
    wrong = file_preview(by=user, asked=asked(design, own))
    assert {error["code"] for error in wrong["errors"]} == {"column_missing"}
    columns = {"A": "unit", "B": "position", "C": "pin:2"}
    file_import(by=user, asked=asked(design, own, columns=columns))
    other_order = "c;A;b\nOL;shelf 9;R\n"
    preview = file_preview(by=user, asked=asked(design, other_order))
    assert [column["role"] for column in preview["columns"]] == ["pin:2", "unit", "position"]
    assert (preview["readings_new"], preview["errors"]) == (1, [])
    other = made_user("other")
    assert file_preview(by=other, asked=asked(design, own))["errors"]


def test_faults_stand_at_their_cells_all_at_once(user: User, design: Design) -> None:
    bad = 'unit,position,pin,reading\nshelf 3,Q,2,0.4\nshelf 3,P,9,OL\nshelf 3,P,2,"1,200"\n,P,2,OL\n'
    preview = file_preview(by=user, asked=asked(design, bad))
    wrong = [
        (row["row"], n)
        for row in preview["rows"]
        for n, cell in enumerate(row["cells"])
        if cell["fate"] == "wrong"
    ]
    assert wrong == [(2, 1), (3, 2), (4, 3), (5, 0)]
    assert [(error["line"], error["column"]) for error in preview["errors"]] == [
        (2, "2"),
        (3, "3"),
        (4, "4"),
        (5, "1"),
    ]
    with pytest.raises(RegistryErrors):
        file_import(by=user, asked=asked(design, bad))
    assert not Sheet.objects.exists()


def test_what_the_reader_of_tidy_files_finds_goes_back_to_its_cell(user: User, design: Design) -> None:
    twice = LONG + "shelf 3,P,2,0.5\n"
    (error,) = file_preview(by=user, asked=asked(design, twice))["errors"]
    assert (error["line"], error["field"]) == (5, "/content")
    wide = "unit,position,2,held_good\nshelf 3,P,0.4,perhaps\n"
    (error,) = file_preview(by=user, asked=asked(design, wide))["errors"]
    assert (error["line"], error["column"]) == (2, "4")


def test_a_line_break_within_a_cell_is_a_blank(user: User, design: Design) -> None:
    broken = 'Switch,Gear,Pin 2\n"shelf\n3",P,0.4\n"shelf\r\n3",R,OL\n'
    preview = file_preview(by=user, asked=asked(design, broken))
    assert (preview["sheets_new"], preview["readings_new"], preview["errors"]) == (1, 2, [])
    file_import(by=user, asked=asked(design, broken))
    assert Sheet.objects.get().name == "shelf 3"
    wrong = 'unit,position,2,held_good\n"shelf\n3",P,0.4,worked\n"shelf\n4",P,0.4,"per\nhaps"\n'
    (error,) = file_preview(by=user, asked=asked(design, wrong))["errors"]
    assert (error["line"], error["column"]) == (3, "4")


def test_a_sheet_needs_its_word(user: User, design: Design) -> None:
    with pytest.raises(RegistryErrors) as caught:
        file_import(by=user, asked=asked(design, LONG, measured_it_myself=False))
    assert [error.code for error in caught.value] == ["not_measured"]


def test_the_template_has_lists_and_comes_back_filled_in(user: User, design: Design, client: Client) -> None:
    answer = client.get(f"/designs/{design.uuid}/import/template.xlsx")
    book = load_workbook(io.BytesIO(answer.content))
    sheet = book.active
    assert offered(book)["D2:D2000"] == ["P", "R", "N", "D"]
    assert offered(book)["E2:E2000"] == offered(book)["F2:F2000"] == ["1", "2", "3", "4", "5"]
    assert {cell.number_format for row in sheet["A1:G2000"] for cell in row} == {"@"}
    sheet["A2"], sheet["G2"] = "shelf 3", "4R7"
    sheet["A3"], sheet["G3"] = "shelf 3", "OL"
    kept = io.BytesIO()
    book.save(kept)
    content = base64.b64encode(kept.getvalue()).decode()
    preview = file_preview(by=user, asked=asked(design, content, encoding="base64"))
    assert (preview["errors"], preview["readings_new"]) == ([], 2), "rows without a reading are left out"
    done = file_import(by=user, asked=asked(design, content, encoding="base64"))
    assert done["readings_new"] == 2
    assert sorted(Reading.objects.values_list("as_typed", flat=True)) == ["4R7", "OL"]


def offered(book: Any) -> dict[str, list[str]]:
    """The words of each list, by the cells that it is for."""
    found = {}
    for rule in book["readings"].data_validations.dataValidation:
        name, _mark, cells = rule.formula1.partition("!")
        assert rule.type == "list" and book[name].sheet_state == "hidden"
        found[str(rule.sqref)] = [cell.value for (cell,) in book[name][cells]]
    return found


def test_labels_of_every_kind_have_their_list() -> None:
    positions = ["low, first", 'the "second"', *(f"position number {n}" for n in range(40))]
    content = design_template(positions=positions, pairs=[("2", "1")], pins=["1", "2"])
    assert offered(load_workbook(io.BytesIO(content)))["D2:D2000"] == positions


@pytest.mark.parametrize(("title", "state"), [("lists", "visible"), ("secret", "hidden")])
def test_another_filled_sheet_is_refused_hidden_or_not(
    user: User, design: Design, title: str, state: str
) -> None:
    book = Workbook()
    for row in (["unit", "position", "2"], ["shelf 3", "P", "0.4"]):
        book.active.append(row)
    more = book.create_sheet(title)
    more["A1"], more.sheet_state = "something", state
    out = io.BytesIO()
    book.save(out)
    content = base64.b64encode(out.getvalue()).decode()
    with pytest.raises(RegistryErrors) as caught:
        file_preview(by=user, asked=asked(design, content, encoding="base64"))
    assert [error.code for error in caught.value] == ["matrix_several"]


def test_the_page_previews_and_stores(user: User, design: Design, client: Client) -> None:
    client.force_login(user)
    at = f"/designs/{design.uuid}/import/"
    assert client.get(at).status_code == 200
    file = io.BytesIO(WIDE.encode())
    file.name = "bench.csv"
    page = client.post(at, {"file": file, "act": "look"})
    assert page.status_code == 200 and b"left out" in page.content
    preview = page.context["preview"]
    heads = [column["head"] for column in preview["columns"]]
    form = {"kept": page.context["kept"], "head": heads, "role": [c["role"] for c in preview["columns"]]}
    assert client.post(at, {**form, "act": "import"}).status_code == 422
    assert not Sheet.objects.exists()
    done = client.post(at, {**form, "act": "import", "measured_it_myself": "1"})
    assert done.status_code == 302 and Sheet.objects.count() == 2


def test_a_tidy_file_comes_in_by_the_same_way(user: User) -> None:
    tidy = (
        "design,submission,unit,contributor,step,position,pin,against,reading\nLark,s1,u1,ann,1,P,2,1,0.4\n"
    )
    preview = file_preview(by=user, asked=asked(None, tidy))
    assert (preview["sheets_new"], preview["designs_new"]) == (1, ["Lark"])
    assert file_import(by=user, asked=asked(None, tidy))["readings_new"] == 1


def messy(**more: str) -> str:
    """As it comes from a workshop: a title over all, heads in row 4, units merged down, dates, a blank row,
    another title between, a remark below."""
    book = Workbook()
    sheet = book.active
    sheet["A1"] = "Depot, readings of the selectors"
    sheet.merge_cells("A1:G1")
    sheet["D3"] = "Terminals"
    sheet.merge_cells("D3:E3")
    for column, head in zip(
        "ABCDEFG", ("Switch", "When", "Gear", "Pin 2", "Pin 3", "Bolt", "Total"), strict=True
    ):
        sheet[f"{column}4"] = head
    rows = [
        ("shelf 3", date(2026, 4, 7), "P", "0,4", "OL", "8 mm", None),
        (None, date(2026, 4, 7), "R", "1,2 k", 0.5, "8 mm", None),
        (None, None, None, None, None, None, None),
        ("the other shelf", None, None, None, None, None, None),
        ("shelf 4", date(2026, 4, 8), "P", 0.4, "O.L", None, None),
        ("measured after lunch", None, None, None, None, None, None),
    ]
    for n, row in enumerate(rows, start=5):
        for column, value in zip("ABCDEFG", row, strict=True):
            sheet[f"{column}{n}"] = value
    sheet.merge_cells("A5:A6")
    sheet.merge_cells("A8:G8")
    for place, value in more.items():
        sheet[place.split("_")[0]] = value
        if "_" in place:
            sheet.merge_cells(place.replace("_", ":"))
    out = io.BytesIO()
    book.save(out)
    return base64.b64encode(out.getvalue()).decode()


def test_a_messy_sheet_is_read_as_its_writer_meant_it(user: User, design: Design) -> None:
    preview = file_preview(by=user, asked=asked(design, messy(), encoding="base64"))
    roles = [column["role"] for column in preview["columns"]]
    assert roles == ["unit", "ignore", "position", "pin:2", "pin:3", "ignore", "ignore"]
    assert (preview["head_row"], preview["errors"], preview["sheets_new"]) == (4, [], 2)
    assert [row["row"] for row in preview["rows"]] == [5, 6, 7, 8, 9, 10]
    assert {cell["fate"] for row in (preview["rows"][3], preview["rows"][5]) for cell in row["cells"]} <= {
        "left_out",
        "not_taken",
    }
    done = file_import(by=user, asked=asked(design, messy(), encoding="base64"))
    assert (done["sheets_new"], done["readings_new"]) == (2, 6)
    assert set(Sheet.objects.values_list("unit__key", flat=True)) == {"shelf 3", "shelf 4"}
    assert "1,2 k" in Reading.objects.values_list("as_typed", flat=True)


def test_a_reading_in_a_merged_cell_is_asked_for_place_by_place(user: User, design: Design) -> None:
    preview = file_preview(by=user, asked=asked(design, messy(D9_E9="OL"), encoding="base64"))
    assert {(error["code"], error["line"], error["column"]) for error in preview["errors"]} == {
        ("reading_merged", 9, "4"),
        ("reading_merged", 9, "5"),
    }


def test_who_knows_better_says_where_the_heads_stand(user: User, design: Design) -> None:
    text = "unit,position,pin\nSwitch,Gear,Pin 2\nshelf 3,P,0.4\n"
    assert file_preview(by=user, asked=asked(design, text))["head_row"] == 1
    told = file_preview(by=user, asked=asked(design, text, head_row=2))
    assert (told["head_row"], told["errors"], told["readings_new"]) == (2, [], 1)
    assert told["rows"][0]["row"] == 3
