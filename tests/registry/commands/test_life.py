"""`benchquorum life`: the document, the text, and what is wrong with a file."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from consensus.life import group_life
from registry.commands.main import main
from registry.formats.documents import schema
from tests.simulation.fleets import make_fleet


@pytest.fixture
def units_file(tmp_path: Path) -> Path:
    """Two classes of one design, a design with too few units."""
    path = tmp_path / "units.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(["design", "unit", "class", "entered_km", "good_km", "failed_km"])
        for source_class, seed in (("original", 3), ("equivalent", 4)):
            lifetimes = make_fleet(seed, 80).lifetimes
            for n in range(len(lifetimes)):
                failed = lifetimes.high[n] if lifetimes.failed[n] else ""
                unit = f"{source_class} {n}"
                rows.writerow(["QB-10", unit, source_class, lifetimes.entered[n], lifetimes.low[n], failed])
        rows.writerows([["QB-9", f"few {n}", "", "", 50_000, ""] for n in range(4)])
    return path


def test_the_document_is_what_its_schema_says(units_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["life", str(units_file), "--json"]) == 0
    out, err = capsys.readouterr()
    document = json.loads(out)
    Draft202012Validator(schema("life")).validate(document)
    assert err == ""
    assert [(g["design"], g["class"]) for g in document["groups"]] == [
        ("QB-9", "unknown"),
        ("QB-10", "original"),
        ("QB-10", "equivalent"),
    ]
    few, original, _equivalent = document["groups"]
    assert (few["units"], few["failures"], few["survival"], few["b10_km"]) == (4, 0, [], None)
    expected = group_life(make_fleet(3, 80).lifetimes).to_plain()
    assert {name: original[name] for name in expected} == expected
    assert document["comparisons"][0]["classes"] == ["original", "equivalent"]
    assert "brought in more often" in document["caution"]


def test_the_text_fits_the_terminal_and_says_who_reports(
    units_file: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["life", str(units_file)]) == 0
    out, _err = capsys.readouterr()
    assert "4 units, 0 failures: too few to say more." in out
    assert "One in ten has failed by" in out
    assert "brought in more often" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_wrong_input_prints_nothing_and_names_everything(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "units.csv"
    path.write_text("design,unit,good_km,failed_km\nA,1,5,4\nA,2,x,\n")
    assert main(["life", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "line 2, column failed_km" in err and "line 3, column good_km" in err
    assert main(["life", str(tmp_path / "missing.csv")]) == 2
