"""Sheets of a file against charts: each alone, laid on its chart, with sentences."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from registry.bridge import parallel
from registry.bridge.agreed import Charts, agree_document, charts_from_document
from registry.bridge.suspects import check_document, sheets_on_charts
from registry.bridge.unknowns import identify_document
from registry.errors import RegistryErrors
from registry.formats.documents import schema
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable

HEADER = "design,submission,unit,contributor,step,position,pin,against,reading"
POSITIONS = ["P", "R", "N", "D", "2"]
CLOSED = {2: "PRD", 3: "RN2", 4: "PN"}  # pin → positions in which it is closed to pin 1
WORLD = Path(__file__).parents[2] / "data" / "worlds" / "few-units" / "readings.csv"


def table(*rows: str) -> TidyTable:
    return read_tidy("\n".join([HEADER, *rows, ""]).encode())


def unit_rows(
    sheet: str, design: str = "A", person: str = "c", pins: dict[int, str] | None = None, **changed: str
) -> list[str]:
    """A sheet as the pattern says; changed: `R3="OL"` for another reading; pins: what each pin is called."""
    named = pins or {}
    common = named.get(1, 1)
    return [
        f"{design},{sheet},{sheet}-unit,{person},{step},{position},{named.get(pin, pin)},{common},{reading}"
        for step, position in enumerate(POSITIONS, 1)
        for pin, closed in CLOSED.items()
        if (reading := changed.get(f"{position}{pin}", "0.4" if position in closed else "OL"))
    ]


@pytest.fixture(scope="module")
def charts() -> Charts:
    rows = [row for n in range(8) for row in unit_rows(f"s{n}", person=f"c{n}")]
    other = [row.replace("0.4", "x").replace("OL", "0.4").replace("x", "OL") for row in rows]
    other = [row.replace("A,s", "B,t", 1).replace(",s", ",t", 1) for row in other]
    document = agree_document(table(*rows, *other))
    return charts_from_document(json.loads(json.dumps(document)))


def check(charts: Charts, *rows: str) -> tuple[list[dict[str, Any]], list[str]]:
    document, warnings = check_document(table(*rows), charts)
    Draft202012Validator(schema("check")).validate(json.loads(json.dumps(document, allow_nan=False)))
    return document["checks"], warnings


def test_a_unit_like_the_pattern_is_good(charts: Charts) -> None:
    ((result,), warnings) = check(charts, *unit_rows("x"))
    assert (result["submission"], result["design"], result["verdict"]) == ("x", "A", "good")
    assert result["unlike"] == [] and warnings == []
    assert result["message"].startswith("Good: ")


def test_a_line_that_never_closes_is_named_first_with_its_sentence(charts: Charts) -> None:
    ((result,), _warnings) = check(charts, *unit_rows("x", R3="OL", N3="OL", **{"23": "OL"}))
    assert result["verdict"] == "faulty"
    first = result["causes"][0]
    assert (first["cause"], first["pins"]) == ("line_open", ["3"])
    assert first["message"].startswith("Pin 3 never closes (p ")
    assert {(cell["position"], cell["pin"], cell["expected"], cell["read"]) for cell in result["unlike"]} == {
        (position, "3", "closed", "OL") for position in "RN2"
    }


def test_each_sheet_of_a_file_is_checked_by_itself(charts: Charts) -> None:
    good, bad = unit_rows("x"), unit_rows("y", R3="OL", N3="OL", **{"23": "OL"})
    together, _warnings = check(charts, *bad, *good)
    assert together == [*check(charts, *good)[0], *check(charts, *bad)[0]]


def test_a_design_without_a_chart_is_an_error_at_its_first_line(charts: Charts) -> None:
    with pytest.raises(RegistryErrors) as raised:
        check(charts, *unit_rows("x")[:1], *unit_rows("y", design="C"), *unit_rows("z", design="D"))
    assert [(error.code, error.line) for error in raised.value] == [
        ("design_unknown", 3),
        ("design_unknown", 18),
    ]


def test_steps_count_and_other_labels_are_warned_of(charts: Charts) -> None:
    (_checks, warnings) = check(charts, "A,x,u,c,1,p,2,1,0.4", "A,x,u,c,2,Rev,2,1,0.4")
    assert warnings == ["x: step 2 is “Rev” here and “R” in the chart; the step counts."]


def test_pins_and_steps_that_the_chart_has_not_stand_behind_its_own(charts: Charts) -> None:
    rows = ["A,x,u,c,1,P,9,1,0.4", "A,x,u,c,1,P,2,10,0.4", "A,x,u,c,7,1,2,1,0.4"]
    ((sheet,), _warnings) = sheets_on_charts(table(*rows), charts)
    assert sheet.pins == ("1", "2", "3", "4", "9", "10")
    assert sheet.positions == ("P", "R", "N", "D", "2", "6", "1")
    assert sheet.readings.position.tolist() == [0, 0, 6]
    assert check(charts, *rows)[0][0]["submission"] == "x"


def test_a_sheet_with_nothing_taken_is_undecided(charts: Charts) -> None:
    ((result,), _warnings) = check(charts, "A,x,u,c,1,P,2,1,")
    assert result["verdict"] == "undecided"


def identify(charts: Charts, *rows: str, as_read: bool = False) -> list[dict[str, Any]]:
    document = identify_document(table(*rows), charts, as_read=as_read)
    Draft202012Validator(schema("identify")).validate(json.loads(json.dumps(document, allow_nan=False)))
    return list(document["units"])


def test_a_switch_is_known_by_its_readings_whatever_its_pins_are_called(charts: Charts) -> None:
    called = {1: "d", 2: "c", 3: "a", 4: "b"}
    (unit,) = identify(charts, *unit_rows("x", design="who knows", pins=called))
    first = unit["candidates"][0]
    assert (unit["submission"], first["design"]) == ("x", "A")
    assert first["pins"] == {name: str(pin) for pin, name in called.items()}


def test_pins_that_are_known_stay_as_they_are(charts: Charts) -> None:
    (unit,) = identify(charts, *unit_rows("x"), as_read=True)
    assert unit["candidates"][0]["design"] == "A"
    assert all(name == pin for candidate in unit["candidates"] for name, pin in candidate["pins"].items())


def test_more_processes_and_progress_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    header, *rows = WORLD.read_text().splitlines()
    wanted = sorted({row.split(",")[0] for row in rows})[:2]
    few = read_tidy("\n".join([header, *(row for row in rows if row.split(",")[0] in wanted), ""]).encode())
    charts = charts_from_document(json.loads(json.dumps(agree_document(few))))
    monkeypatch.setattr(parallel, "WORTH_SPREADING", 1)
    told: list[float] = []
    assert check_document(few, charts, told.append, workers=2) == check_document(few, charts)
    assert told == sorted(told) and told[-1] == 1.0
    assert identify_document(few, charts, workers=2) == identify_document(few, charts)
