"""Names that harm: refused where they come in, harmless where an older registry let them in already."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import get_resolver
from openpyxl import load_workbook

from registry.errors import RegistryErrors
from registry.formats.labels import LONGEST_NAME, is_formula, parse_label, parse_name
from registry.formats.tidy_reader import read_tidy
from registry.models import Contributor, Design, Pin, Position, Sheet, Unit
from registry.services.bulk_entry import matrix_blank, matrix_readings
from registry.services.catalogue import design_propose
from registry.services.exports import export_tidy
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.vehicles import vehicle_add
from registry.services.packages.writing import export_package
from registry.services.sheets import sheet_submit
from tests.api.made import design_body, made_design, made_revision, made_user, sheet_body
from tests.registry.pages.lives import event

pytestmark = pytest.mark.django_db
RUNS = ("=1+1", "@SUM(A1)", "+1+2", "-1+cmd|' /C calc'!A0", "＝1", "＠SUM(A1)", "＋1+2", "－1+2")
UNSEEN = ("u\u2028x", "u\u2029x", "u\x85x", "u\x9bx", "u\0x", "u\x1bx", "u\ud800")
HIDDEN = ("u\u200bx", "\u202ex-u", "u\u2066x", "\ufeffu", "u\u00adx", "u\u200dx")


@pytest.fixture
def design() -> Design:
    return made_design(made_user("proposer"))


def codes(act: Any) -> set[tuple[str, str]]:
    with pytest.raises(RegistryErrors) as refused:
        act()
    return {(error.code, error.field) for error in refused.value}


@pytest.mark.parametrize("name", [*RUNS, *UNSEEN, *HIDDEN])
def test_no_name_of_a_sheet_comes_in_that_a_table_could_not_hold(design: Design, name: str) -> None:
    code = "name_formula" if name in RUNS else "control_characters"
    body = sheet_body(design, name=name, unit={"key": name, "tag_code": name, "date_code": name})
    found = codes(lambda: sheet_submit(by=made_user(), body=body))
    assert found == {(code, f"/{at}") for at in ("name", "unit/key", "unit/tag_code", "unit/date_code")}


@pytest.mark.parametrize("name", [*RUNS, *UNSEEN, *HIDDEN])
def test_no_name_of_a_design_comes_in_that_a_table_could_not_hold(name: str) -> None:
    code = "name_formula" if name in RUNS else "control_characters"
    body = {**design_body(name), "maker": name, "families": [name], "part_numbers": [f"{name}1"]}
    body["positions"] = [{"label": name, "name": name, "aliases": [name + "a"]}, {"label": "P"}]
    body["pins"] = [{"label": "1"}, {"label": name, "line_name": name, "column": 2}]
    found = codes(lambda: design_propose(by=made_user(), body=body))
    for at in ("name", "maker", "families/0", "part_numbers/0", "positions/0/label", "positions/0/name"):
        assert (code, f"/{at}") in found
    for at in ("positions/0/aliases/0", "pins/1/label", "pins/1/line_name"):
        assert (code, f"/{at}") in found


@pytest.mark.parametrize("label", ["+", "-", "-2", "M+", "3-D", "می\u200cخواهم"])
def test_labels_as_they_stand_on_levers_are_taken(label: str) -> None:
    body = design_body("Lever")
    body["positions"] = [{"label": label}, {"label": "P"}]
    assert design_propose(by=made_user(), body=body).positions.filter(label=label).exists()


def exported() -> list[list[str]]:
    """The lines of the file, which the reader takes, too."""
    text = "".join(export_tidy())
    read_tidy(text.encode())
    return list(csv.reader(io.StringIO(text)))[1:]


@pytest.mark.parametrize("name", [*RUNS, *UNSEEN[:-1], "x" * LONGEST_NAME, " ", "'=1"])
def test_one_bad_name_costs_nobody_the_export(design: Design, name: str) -> None:
    if "\0" in name and connection.vendor == "postgresql":
        pytest.skip("PostgreSQL stores no NUL")
    sheet = sheet_submit(by=made_user("other"), body=sheet_body(design))
    own = sheet_submit(by=made_user(), body=sheet_body(design))
    before = len(exported())
    Unit.objects.filter(pk=own.unit_id).update(key=name)
    Sheet.objects.filter(pk=own.pk).update(name=name)
    Contributor.objects.filter(pk=own.contributor_id).update(import_name=name)
    Pin.objects.filter(connector__design=design, label="4").update(label=name[:40])
    Position.objects.filter(design=design, label="R").update(label=name[:40])
    Design.objects.filter(pk=design.pk).update(name=name)
    lines = exported()
    assert len(lines) == before
    assert not [cell for line in lines for cell in line if is_formula(cell)]
    for line in lines:
        for cell in line[:4]:
            assert parse_name(cell) == cell
        for cell in line[5:8]:
            assert parse_label(cell) == cell
    assert sheet.name in {line[1] for line in lines}
    assert exported() == lines


def test_two_people_with_one_long_name_stay_two_units(design: Design) -> None:
    for n in range(3):
        body = sheet_body(design, name="y" * 200, unit={"key": "x" * 200})
        sheet_submit(by=made_user(f"r{n}"), body=body)
    lines = exported()
    assert len({line[2] for line in lines}) == len({line[1] for line in lines}) == 3


def test_nobody_can_take_the_name_that_tells_two_others_apart(design: Design) -> None:
    one, two = made_user("one"), made_user("two")
    for by in (one, two):
        sheet_submit(by=by, body=sheet_body(design, name="x", unit={"key": "u"}))
    owner = Contributor.objects.get(user=one).pseudonym
    sheet_submit(
        by=made_user("third"), body=sheet_body(design, name=f"x ({owner})", unit={"key": f"u ({owner})"})
    )
    lines = exported()
    assert len({line[1] for line in lines}) == len({line[2] for line in lines}) == 3


def cells_of(answer: Any) -> Iterator[str]:
    content = answer.content if not answer.streaming else b"".join(answer.streaming_content)
    yield from _cells(content)


def _cells(content: bytes) -> Iterator[str]:
    if content.startswith(b"PK"):
        for sheet in load_workbook(io.BytesIO(content)).worksheets:
            for row in sheet.iter_rows():
                for cell in row:
                    assert cell.data_type != "f"
                    yield "" if cell.value is None else str(cell.value)
    else:
        for row in csv.reader(io.StringIO(content.decode("utf-8-sig"))):
            yield from row


def test_no_table_that_is_given_out_runs_in_a_spreadsheet(
    design: Design, client: Client, tmp_path: Path
) -> None:
    owner = made_user()
    sheet = sheet_submit(by=owner, body=sheet_body(design))
    event(owner, sheet.unit, "failed", 10_000)
    fleet = organisation_make(by=owner, body={"name": "Marsh Quay"})
    vehicle_add(by=owner, organisation=fleet, body={"label": "=1+1", "design": str(design.uuid)})
    for position, run in zip(Position.objects.filter(design=design), RUNS, strict=False):
        Position.objects.filter(pk=position.pk).update(label=run)
    for pin, run in zip(Pin.objects.filter(connector__design=design), RUNS[3:], strict=False):
        Pin.objects.filter(pk=pin.pk).update(label=run)
    Design.objects.filter(pk=design.pk).update(name="＝HYPERLINK(1)")
    Unit.objects.update(key="=1+1")
    design.refresh_from_db()
    cell = {"position": "＝1", "pin": "＋1", "against": "－1", "between": False, "state": "open",
            "p_open": 0.9, "standing": "thin", "units": 1, "agreeing": 1, "contributors": 1,
            "agreement": [0, 1], "ohm": None}  # fmt: skip
    made_revision(design, cells=[cell])
    client.force_login(owner)
    here = f"/designs/{design.uuid}"
    addresses = [f"{here}/life.csv", f"{here}/matrix/blank.csv", f"{here}/matrix/blank.xlsx",
                 f"{here}/import/template.xlsx", f"/fleet/{fleet.uuid}/due.csv"]  # fmt: skip
    answers = [client.get(address) for address in addresses]
    answers += [client.get(f"/api/v1/charts/{design.uuid}/", headers={"Accept": "text/csv"})]
    for answer in answers:
        assert answer.status_code == 200, answer.request["PATH_INFO"]
        found = [cell for cell in cells_of(answer) if is_formula(cell) or (cell[:1] in "=@＝＠" and cell)]
        assert not found, (answer.request["PATH_INFO"], found)
    export_package(tmp_path / "package.zip")
    with zipfile.ZipFile(tmp_path / "package.zip") as archive:
        for name in archive.namelist():
            if name.endswith(".csv"):
                found = [cell for cell in _cells(archive.read(name)) if cell[:1] in "=@＝＠" and cell]
                assert not found, (name, found)


def test_a_blank_matrix_of_odd_labels_is_read_again(design: Design) -> None:
    Pin.objects.filter(connector__design=design, label="4").update(label="+1-2")
    Position.objects.filter(design=design, label="R").update(label="=1")
    Position.objects.filter(design=design, label="N").update(label="-")
    for as_xlsx in (False, True):
        blank = list(_rows(matrix_blank(design, as_xlsx=as_xlsx)))
        blank[2] = [blank[2][0], *["0.4"] * (len(blank[0]) - 1)]
        out = io.StringIO()
        csv.writer(out).writerows(blank)
        readings = matrix_readings(design=design, data=out.getvalue().encode())
        assert {reading["position"] for reading in readings} == {"=1"}
        assert "+1-2" in {reading["pin"] for reading in readings}


def _rows(content: bytes) -> Iterator[list[str]]:
    if content.startswith(b"PK"):
        for row in load_workbook(io.BytesIO(content)).worksheets[0].iter_rows(values_only=True):
            yield [str(cell or "") for cell in row]
    else:
        yield from csv.reader(io.StringIO(content.decode("utf-8-sig")))


def test_every_address_that_gives_a_table_is_walked() -> None:
    def walk(patterns: Any, before: str = "") -> Iterator[str]:
        for one in patterns:
            here = before + str(one.pattern)
            yield from walk(one.url_patterns, here) if hasattr(one, "url_patterns") else [here]

    tables = {one for one in walk(get_resolver().url_patterns) if re.search("csv|xlsx|matrix/blank", one)}
    assert tables == {
        "designs/<uuid:uuid>/life.csv",
        "designs/<uuid:uuid>/matrix/blank.<str:form>",
        "designs/<uuid:uuid>/import/template.xlsx",
        "fleet/<uuid:uuid>/due.csv",
    }
