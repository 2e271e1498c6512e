"""The agreed document: valid, the same whatever the order of rows, and read back as charts."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from registry.bridge import agreed
from registry.errors import RegistryErrors
from registry.formats.documents import schema
from registry.formats.json_text import json_text
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_table import TidyTable

FILE = Path(__file__).parents[2] / "data" / "worlds" / "few-units" / "readings.csv"


def some_designs(count: int, turned: bool = False) -> TidyTable:
    header, *rows = FILE.read_text().splitlines()
    wanted = sorted({row.split(",")[0] for row in rows})[:count]
    kept = [row for row in rows if row.split(",")[0] in wanted]
    return read_tidy("\n".join([header, *(reversed(kept) if turned else kept), ""]).encode())


def as_json(document: dict[str, Any]) -> dict[str, Any]:
    return dict(json.loads(json.dumps(document, allow_nan=False)))


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return agreed.agree_document(some_designs(6))


def test_the_document_is_what_its_schema_says(document: dict[str, Any]) -> None:
    Draft202012Validator(schema("agreed")).validate(as_json(document))
    assert len(document["designs"]) == 6
    assert {entry["design"] for entry in document["submissions"]} == {
        d["design"] for d in document["designs"]
    }


def test_every_submission_of_the_file_has_its_finding(document: dict[str, Any]) -> None:
    names = [entry["submission"] for entry in document["submissions"]]
    assert sorted(names) == sorted(sheet.name for sheet in some_designs(6).sheets)


def test_the_order_of_rows_changes_nothing(document: dict[str, Any]) -> None:
    assert as_json(agreed.agree_document(some_designs(6, turned=True))) == as_json(document)


def test_more_processes_give_the_same_document(
    document: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(agreed, "WORTH_SPREADING", 1)
    assert as_json(agreed.agree_document(some_designs(6), workers=2)) == as_json(document)


def test_progress_ends_with_all_done() -> None:
    told: list[float] = []
    agreed.agree_document(some_designs(2), progress=told.append)
    assert told == sorted(told) and told[-1] == 1.0


def test_a_design_whose_sheets_do_not_count_is_in_the_document() -> None:
    header = "design,submission,unit,contributor,step,position,pin,against,reading,held_good"
    text = f"{header}\nA,s,u,c,1,P,2,1,0.4,no\n"
    document = agreed.agree_document(read_tidy(text.encode()))
    Draft202012Validator(schema("agreed")).validate(as_json(document))
    assert [design["design"] for design in document["designs"]] == ["A"]


def test_charts_are_read_back_as_they_were(document: dict[str, Any]) -> None:
    charts = agreed.charts_from_document(as_json(document))
    for design in as_json(document)["designs"]:
        chart = charts.of(design["design"])
        assert chart is not None
        assert as_json(chart.to_plain()) == design
    assert charts.of("no such design") is None
    assert len(charts.others(document["designs"][0]["design"])) == 5
    assert charts.settings.to_plain() == document["engine"]["settings"]


def damage(document: dict[str, Any], *path: Any, value: Any = None, drop: bool = False) -> dict[str, Any]:
    broken = copy.deepcopy(as_json(document))
    place = broken
    for step in path[:-1]:
        place = place[step]
    if drop:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return broken


@pytest.mark.parametrize(
    ("path", "change", "field"),
    [
        (("designs",), {"drop": True}, ""),
        (("designs",), {"value": {}}, ""),
        (("submissions",), {"value": None}, ""),
        (("submissions", 3), {"value": "x"}, "/submissions/3"),
        (("submissions", 0, "design"), {"value": ["A"]}, "/submissions/0"),
        (("designs", 1), {"value": None}, "/designs/1"),
        (("designs", 1, "design"), {"drop": True}, "/designs/1"),
        (("designs", 1, "positions"), {"value": 3}, "/designs/1"),
        (("designs", 2, "variants", 0, "cells", 0, "p_open"), {"value": "often"}, "/designs/2"),
        (("designs", 2, "variants", 0, "cells"), {"value": [[]]}, "/designs/2"),
        (("designs", 0, "model"), {"drop": True}, "/designs/0"),
    ],
)
def test_a_damaged_document_is_refused_where_it_is_damaged(
    document: dict[str, Any], path: tuple[Any, ...], change: dict[str, Any], field: str
) -> None:
    with pytest.raises(RegistryErrors) as raised:
        agreed.charts_from_document(damage(document, *path, **change))
    assert [(error.code, error.field) for error in raised.value] == [("document_damaged", field)]


def test_settings_that_this_engine_does_not_know_are_left_out(document: dict[str, Any]) -> None:
    other = damage(document, "engine", "settings", value={"agreed_units": 9, "future": 1, "agreed_p": "high"})
    charts = agreed.charts_from_document(other)
    assert charts.settings.agreed_units == 9
    assert charts.settings.agreed_p == 0.995


@pytest.mark.parametrize("workers", [1, 2])
def test_text_in_pieces_is_the_document(workers, monkeypatch):
    monkeypatch.setattr(agreed, "WORTH_SPREADING", 0)
    table = some_designs(4)
    assert "".join(agreed.agree_text(table, workers=workers)) == json_text(agreed.agree_document(table))
