"""A unit from a file: a matrix is read as it is meant or refused with its place; nothing by halves."""

from __future__ import annotations

import uuid

import pytest

from registry.errors import RegistryErrors
from registry.models import Design, Reading, Sheet, SheetVersion, Unit, User
from registry.services.bulk_entry import (
    matrix_blank,
    matrix_preview,
    matrix_readings,
    matrix_submit,
)
from registry.services.catalogue import design_propose
from tests.registry.services.malformed_matrices import GOOD, MALFORMED, as_csv, as_xlsx, changed

pytestmark = pytest.mark.django_db


@pytest.fixture
def reader() -> User:
    return User.objects.create_user("reader@workshop.example")


@pytest.fixture
def design(reader) -> Design:
    return design_propose(
        by=reader,
        body={
            "name": "Harrow 5",
            "positions": [{"label": "P"}, {"label": "R", "aliases": ["REV"]}, {"label": "N"}],
            "pins": ["1", "2", "3", "4"],
            "common": "1",
        },
    )


def body(**changes):
    return {
        "client_id": str(uuid.uuid4()),
        "unit": {"key": "shelf 3"},
        "measured_it_myself": True,
        **changes,
    }


@pytest.mark.parametrize("data", [as_csv(GOOD), as_csv(GOOD, ";"), as_csv(GOOD, "\t"), as_xlsx(GOOD)])
def test_matrix_is_read_in_each_form(design, reader, data):
    sheet = matrix_submit(by=reader, design=design, data=data, body=body())
    typed = Reading.objects.filter(version__sheet=sheet).order_by("pk")
    assert list(typed.values_list("as_typed", flat=True)) == [cell for row in GOOD[1:] for cell in row[1:]]


def test_figures_of_a_spreadsheet_are_kept_as_they_look(design):
    rows = [["position", 2, 3, 4], ["P", 0.4, 1200, "OL"]]
    readings = matrix_readings(design=design, data=as_xlsx(rows))
    assert [r["reading"] for r in readings] == ["0.4", "1200", "OL"]


def test_gaps_pairs_and_aliases_have_their_places(design):
    rows = [["", "2", "2/3"], ["REV", "OL", "OL"], ["P/R", "0.4…OL", ""]]
    readings = matrix_readings(design=design, data=as_csv(rows))
    assert [(r["position"], r["between"], r["pin"], r["against"]) for r in readings] == [
        ("R", False, "2", "1"),
        ("R", False, "2", "3"),
        ("P", True, "2", "1"),
    ]


def test_decimal_commas_are_read_where_the_separator_is_another(design):
    readings = matrix_readings(design=design, data=as_csv(changed(1, 1, "0,4"), ";"))
    assert readings[0]["reading"] == "0,4"


def test_empty_cell_is_no_reading(design):
    assert len(matrix_readings(design=design, data=as_csv(changed(1, 1, "")))) == 8


def test_preview_stores_nothing(design, reader):
    preview = matrix_preview(design=design, data=as_csv(GOOD), body=body())
    assert len(preview["readings"]) == 9
    assert not Sheet.objects.exists()


def test_same_matrix_sent_twice_is_one_sheet(design, reader):
    same = body()
    first = matrix_submit(by=reader, design=design, data=as_csv(GOOD), body=same)
    assert matrix_submit(by=reader, design=design, data=as_csv(GOOD), body=same) == first


def test_summary_of_four_units_counts_as_one_and_shows_its_claim(design, reader):
    rows = [["", "2", "3"], ["P", "closed", "open"], ["R", "Open", "CLOSED"]]
    sheet = matrix_submit(by=reader, design=design, data=as_csv(rows), body=body(units_claimed=4))
    version = SheetVersion.objects.get(sheet=sheet)
    assert version.units_claimed == 4
    assert set(version.readings.values_list("kind", flat=True)) == {"continuity", "over_limit"}
    assert Unit.objects.count() == 1


def test_summary_with_single_figures_is_refused(design, reader):
    with pytest.raises(RegistryErrors) as error:
        matrix_submit(by=reader, design=design, data=as_csv(GOOD), body=body(units_claimed=4))
    assert "summary_with_figures" in [one.code for one in error.value]


def test_fault_names_row_and_column_of_the_file(design):
    with pytest.raises(RegistryErrors) as error:
        matrix_preview(design=design, data=as_csv(changed(2, 2, "good")), body=body())
    (fault,) = error.value
    assert (fault.line, fault.column, fault.field) == (3, "3", "/file/3/3")


def test_all_faults_come_in_one_go(design):
    rows = changed(0, 1, "9")
    rows[1][0] = "Q"
    with pytest.raises(RegistryErrors) as error:
        matrix_readings(design=design, data=as_csv(rows))
    assert {one.code for one in error.value} == {"pin_unknown", "position_unknown"}


@pytest.mark.parametrize("as_book", [False, True])
def test_blank_matrix_reads_back_once_it_is_filled(design, as_book):
    data = matrix_blank(design, as_xlsx=as_book)
    with pytest.raises(RegistryErrors) as error:
        matrix_readings(design=design, data=data)
    assert [one.code for one in error.value] == ["no_readings"]


def test_there_are_more_than_a_hundred_malformed_ones():
    assert len(MALFORMED) >= 100
    assert len({name for name, _data, _codes in MALFORMED}) == len(MALFORMED)


@pytest.mark.parametrize(("data", "codes"), [case[1:] for case in MALFORMED], ids=[c[0] for c in MALFORMED])
def test_malformed_matrix_is_a_clear_error_and_stores_nothing(design, reader, data, codes):
    with pytest.raises(RegistryErrors) as error:
        matrix_submit(by=reader, design=design, data=data, body=body())
    assert {one.code for one in error.value} & codes
    assert all(one.message for one in error.value)
    assert not Sheet.objects.exists() and not Unit.objects.exists()
