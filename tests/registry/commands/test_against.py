"""`check` and `identify`: documents, text, and what is wrong with either of their two files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from registry.commands.check import check_lines
from registry.commands.identify import identify_lines
from registry.commands.main import main
from registry.formats.documents import schema

WORLD = Path(__file__).parents[2] / "data" / "worlds" / "few-units" / "readings.csv"
COMMANDS = ["check", "identify"]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Readings of two designs, and what `agree --json` makes of them."""
    folder = tmp_path_factory.mktemp("files")
    header, *rows = WORLD.read_text().splitlines()
    wanted = sorted({row.split(",")[0] for row in rows})[:2]
    readings, agreed = folder / "readings.csv", folder / "agreed.json"
    readings.write_text("\n".join([header, *(row for row in rows if row.split(",")[0] in wanted), ""]))
    with pytest.MonkeyPatch.context() as patch, agreed.open("w", encoding="utf-8") as out:
        patch.setattr("sys.stdout", out)
        assert main(["agree", str(readings), "--json"]) == 0
    return readings, agreed


@pytest.mark.parametrize("command", COMMANDS)
def test_the_document_is_what_its_schema_says(
    command: str, files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    readings, agreed = files
    assert main([command, str(readings), "--against", str(agreed), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    Draft202012Validator(schema(command)).validate(json.loads(out))


@pytest.mark.parametrize("command", COMMANDS)
def test_the_text_names_every_sheet(
    command: str,
    files: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    readings, agreed = files
    assert main([command, str(readings), "--against", str(agreed)]) == 0
    out, _err = capsys.readouterr()
    named = {row.split(",")[1] for row in readings.read_text().splitlines()[1:]}
    assert {line.split(" ")[0] for line in out.splitlines()} >= named
    assert max(len(line) for line in out.splitlines()) <= 60


def test_pins_that_are_known_are_kept(files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    readings, agreed = files
    assert main(["identify", str(readings), "--against", str(agreed), "--json", "--pins", "as-read"]) == 0
    units = json.loads(capsys.readouterr().out)["units"]
    pins = [candidate["pins"] for unit in units for candidate in unit["candidates"]]
    assert pins and all(read == own for names in pins for read, own in names.items())


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (None, "There is no file"),
        (b"", "is not JSON"),
        (b'{"format": "benchquorum/agreed/1", "designs": [', "is not JSON"),
        (b"\xff\xfe{}", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
        (b"[]", "is not of the format benchquorum/agreed/1"),
        (b'{"format": "benchquorum/check/1"}', "is not of the format benchquorum/agreed/1"),
        (b'{"format": "benchquorum/agreed/1"}', "is damaged at /"),
        (
            b'{"format": "benchquorum/agreed/1", "designs": [{}], "submissions": []}',
            "is damaged at /designs/0",
        ),
    ],
)
def test_a_wrong_chart_file_is_status_2(
    command: str,
    content: bytes | None,
    reason: str,
    files: tuple[Path, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / "agreed.json"
    if content is not None:
        path.write_bytes(content)
    assert main([command, str(files[0]), "--against", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and reason in err and len(err.splitlines()) == 1


@pytest.mark.parametrize("command", COMMANDS)
def test_what_is_wrong_with_both_files_is_said_in_one_go(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "readings.csv").write_text("design\n")
    assert main([command, str(tmp_path / "readings.csv"), "--against", str(tmp_path / "none.json")]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert ["The header has no columns" in err, "There is no file" in err] == [True, True]


def test_a_design_without_a_chart_is_status_2(
    files: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text(files[0].read_text().replace("D0001,", "Z9,"))
    assert main(["check", str(readings), "--against", str(files[1])]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "column design: Design “Z9” is not in the file of agreed patterns." in err


CHECK: dict[str, Any] = {
    "submission": "x",
    "design": "D1",
    "variant": "a",
    "verdict": "faulty",
    "p_good": 0.01,
    "message": "Faulty.",
    "unlike": [{"position": "R", "pin": "4", "against": "1", "expected": "closed", "read": "OL"}] * 14,
    "causes": [{"p": 0.9, "message": "Pin 4 never closes."}, {"p": 0.001, "message": "Not worth saying."}],
    "next": [{"position": "D", "pin": "3", "against": "1", "bits": 0.41}, {"pin": "2", "bits": 0.0}],
}


def test_a_check_says_verdict_differences_causes_and_what_to_measure() -> None:
    lines = list(check_lines({"checks": [CHECK]}, {"D1": "1"}, 80))
    assert lines[:2] == ["x (design D1, variant a)", "Faulty."]
    assert lines[2:14] == ["  - Pin 4 in R reads OL; closed in good units."] * 12
    assert lines[14:] == [
        "  - and 2 more readings unlike the pattern",
        "  * Pin 4 never closes.",
        "  > Measure next: pin 3 in D (0.41 bits).",
    ]


def test_candidates_say_how_the_pins_are_called() -> None:
    candidates = [
        {"design": "D1", "variant": "a", "p": 0.93, "pins": {"2": "4", "3": "3"}},
        {"design": "D2", "variant": "b", "p": 0.002, "pins": {"2": "2"}},
    ]
    units = [{"submission": "x", "candidates": candidates}, {"submission": "y", "candidates": []}]
    assert list(identify_lines({"units": units}, 80)) == [
        "x",
        "  - design D1, variant a (p = 0.93); pins as read: 2 is its 4",
        "  - design D2, variant b (p < 0.01)",
        "",
        "y",
        "  No design here reads like this.",
    ]
