"""The command's manners: exit status, streams, no stack trace, no database."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from registry.commands import main as main_module
from registry.commands.main import COMMANDS, main
from registry.formats.documents import schema
from registry.formats.tidy_reader import read_tidy

ROOT = Path(__file__).parents[3]
WORLD = ROOT / "tests" / "data" / "worlds" / "few-units" / "readings.csv"
HEADER = "design,submission,unit,contributor,step,position,pin,against,reading"


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Readings of two designs."""
    header, *rows = WORLD.read_text().splitlines()
    wanted = sorted({row.split(",")[0] for row in rows})[:2]
    path = tmp_path / "small.csv"
    path.write_text("\n".join([header, *(row for row in rows if row.split(",")[0] in wanted), ""]))
    return path


def written(folder: Path, *rows: str, header: str = HEADER) -> str:
    path = folder / "readings.csv"
    path.write_text("\n".join([header, *rows, ""]))
    return str(path)


def run_alone(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if name != "DJANGO_SETTINGS_MODULE"}
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env={**kept, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_agree_prints_a_document_of_the_schema(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["agree", str(small), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    document = json.loads(out)
    Draft202012Validator(schema("agreed")).validate(document)
    assert len(document["submissions"]) == len(read_tidy(small).sheets)


def test_agree_prints_a_chart_and_the_sheets_that_do_not_fit(
    small: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    assert main(["agree", str(small)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "D0000: 5 positions, 4 pins, common pin 2" in out
    assert "sheets fit." in out or "sheet fits." in out
    assert max(len(line) for line in out.splitlines()) <= 60


@pytest.mark.parametrize("command", ["agree"])
@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        (
            ["A,s,u,c,1,P,2,1,0.4", 'A,s,u,c,1,P,3,1,"1,200"', "A,s,u,c,0,P,4,1,-2"],
            [
                "benchquorum: line 3, column reading: “1,200”: 1.2 or 1200? "
                "Write 1.2 with a point, or 1200 without a mark.",
                "benchquorum: line 4, column step: “0” is not a whole number from 1 to 10000. "
                "Count positions from 1 in detent order, up to 10000.",
                "benchquorum: line 4, column reading: “-2” is negative; a resistance never is. "
                "Write 1.2k, 4R7, 0.8 MΩ or OL; leave it empty if not taken.",
            ],
        ),
        ([], ["benchquorum: The file has no readings. Write one reading a line under the header."]),
    ],
)
def test_a_wrong_file_is_status_2_with_all_errors_and_no_output(
    command: str, rows: list[str], expected: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, written(tmp_path, *rows), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == expected


def test_a_missing_file_is_status_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["agree", str(tmp_path / "none.csv")]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("benchquorum: There is no file ") and len(err.splitlines()) == 1


def test_a_long_list_of_errors_is_cut_and_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["agree", written(tmp_path, *["A,s,u,c,0,P,2,1,1"] * 1234)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 201
    assert lines[-1] == "benchquorum: and 1034 errors more"


def test_warnings_go_to_the_error_stream(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, "A,s,u,c,1,P,2,1,0.4,red", header=HEADER + ",colour")
    assert main(["agree", path, "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)
    assert err == "benchquorum: warning: The column colour is not known and kept out.\n"


def test_an_unexpected_error_is_one_line_and_status_1(
    small: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object, **_options: object) -> None:
        raise ZeroDivisionError("by zero\nand more")

    monkeypatch.setattr("registry.bridge.agreed.agree_document", broken)
    assert main(["agree", str(small)]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    hint = "(set BENCHQUORUM_DEBUG=1 to see where)"
    assert err == f"benchquorum: error: unexpected ZeroDivisionError: by zero {hint}\n"
    monkeypatch.setenv(main_module.DEBUG, "1")
    with pytest.raises(ZeroDivisionError):
        main(["agree", str(small)])


def test_a_setting_that_is_missing_is_named_and_nobody_told_to_debug(tmp_path: Path) -> None:
    asked = subprocess.run(
        [sys.executable, "-m", "registry.commands.main", "audit"],
        env={"PATH": os.environ["PATH"], "BENCHQUORUM_DATA": str(tmp_path), "BENCHQUORUM_TLS": "true"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert asked.returncode == 2
    needs = "A registry that others reach needs BENCHQUORUM_SECRET_KEY."
    assert asked.stderr == f"benchquorum: error: {needs}\n"


def test_stopping_by_hand_is_no_stack_trace(
    small: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_args: object, **_options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("registry.bridge.agreed.agree_document", stopped)
    assert main(["agree", str(small)]) == 130
    assert capsys.readouterr().err == "benchquorum: stopped\n"


@pytest.mark.parametrize(
    "arguments", [[], ["nonsense"], ["agree"], ["check", "x.csv"], ["agree", "x", "--what"]]
)
def test_wrong_usage_is_status_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("usage: benchquorum")


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["--help"])
    assert left.value.code == 0
    out = capsys.readouterr().out
    assert all(f"    {name}" in out for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_arguments(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main([name, "--help"])
    assert left.value.code == 0
    assert capsys.readouterr().out.startswith(f"usage: benchquorum {name}")


def test_agree_needs_no_django_and_no_database(small: Path) -> None:
    code = (
        "import sys; from registry.commands.main import main; status = main(sys.argv[1:]); "
        "loaded = {name.partition('.')[0] for name in sys.modules}; "
        "assert not loaded & {'django', 'sqlite3', 'psycopg'}, loaded; "
        "sys.exit(status)"
    )
    done = run_alone("-c", code, "agree", str(small), DATABASE_URL="postgres://nobody@nowhere.invalid/none")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("D0000")


def test_a_reader_that_leaves_early_is_no_error(small: Path) -> None:
    command = f'"{sys.executable}" -m registry.commands.main agree "{small}" | head -n 1'
    done = subprocess.run(
        ["sh", "-c", command], cwd=ROOT, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.stderr == ""
    assert done.stdout.startswith("D0000")


def test_output_survives_a_terminal_that_knows_no_ohm(small: Path) -> None:
    done = run_alone("-m", "registry.commands.main", "agree", str(small), PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    as_json = run_alone(
        "-m", "registry.commands.main", "agree", str(small), "--json", PYTHONIOENCODING="ascii"
    )
    assert as_json.returncode == 0
