"""`agree` names sheets that are of another design of the file than they claim."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from registry.bridge import agreed
from registry.commands.main import main
from registry.formats.json_text import json_text
from registry.formats.tidy_reader import read_tidy
from tests.consensus.benches import turned

HEADER = "design,submission,unit,contributor,step,position,pin,against,reading"
PATTERN = ("o c c o", "c o c c", "c c o o", "o o c c", "c c c o", "o c o c")
STRANGE = ("c o o c", "o o c c", "o c o c", "c c o c", "o o o c", "c c c o")


def rows_of(design: str, sheet: str, pattern: Sequence[str], reader: str = "") -> Iterator[str]:
    for step, row in enumerate(pattern, start=1):
        for pin, word in enumerate(row.split(), start=2):
            figure = "OL" if word == "o" else "0.4" if word == "c" else word
            yield f"{design},{sheet},u{sheet},{reader or 'r' + sheet},{step},S{step},{pin},1,{figure}"


def good(design: str, pattern: Sequence[str], count: int = 6) -> Iterator[str]:
    for number in range(count):
        yield from rows_of(design, f"{design}-{number}", pattern, f"r{number}")


def written(folder: Path, *rows: str) -> Path:
    path = folder / "readings.csv"
    path.write_text("\n".join([HEADER, *rows, ""]))
    return path


def findings(capsys: pytest.CaptureFixture[str], path: Path) -> dict[str, Any]:
    assert main(["agree", str(path), "--json"]) == 0
    return {entry["submission"]: entry for entry in json.loads(capsys.readouterr().out)["submissions"]}


def test_a_sheet_of_another_design_is_named_with_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mixed = [*good("Lark", PATTERN), *rows_of("Lark", "strange", STRANGE)]
    path = written(tmp_path, *mixed, *rows_of("Lark", "turned", turned(PATTERN)), *good("Wren", STRANGE))
    entries = findings(capsys, path)
    assert entries["strange"]["finding"] == "other_design"
    assert entries["strange"]["params"]["design"] == "Wren"
    assert entries["strange"]["params"]["agreeing"] == entries["strange"]["params"]["readings"] == 24
    assert "Wren" in entries["strange"]["message"]
    assert entries["turned"]["finding"] == "mirrored_pins"
    assert {one["finding"] for name, one in entries.items() if "-" in name} == {"fits"}
    assert main(["agree", str(path)]) == 0
    assert "Fits design Wren better than this one" in capsys.readouterr().out


def test_of_many_designs_of_one_shape_the_right_one_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """More than are held against a sheet one by one; a level at one place tells two of them apart."""
    rng = np.random.default_rng(4)
    tables = [[list(row) for row in rng.choice(["o", "c"], (6, 4))] for _ in range(40)]
    tables[7] = [list(row) for row in tables[31]]
    tables[7][2][1], tables[31][2][1] = "2.2k", "6.8k"
    patterns = [[" ".join(row) for row in table] for table in tables]
    rows = [row for n, pattern in enumerate(patterns) for row in good(f"D{n}", pattern)]
    rows += [*rows_of("D0", "of-7", patterns[7]), *rows_of("D0", "of-31", patterns[31])]
    rows += rows_of("D5", "of-12", patterns[12])
    entries = findings(capsys, written(tmp_path, *rows))
    named = {name: entries[name]["params"].get("design") for name in ("of-7", "of-31", "of-12")}
    assert named == {"of-7": "D7", "of-31": "D31", "of-12": "D12"}
    assert [one["finding"] for one in entries.values()].count("other_design") == 3


def test_several_processes_say_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(agreed, "WORTH_SPREADING", 0)
    rows = [*good("Lark", PATTERN), *rows_of("Lark", "strange", STRANGE), *good("Wren", STRANGE)]
    table = read_tidy(written(tmp_path, *rows))
    document = json_text(agreed.agree_document(table))
    assert '"finding":"other_design"' in document
    assert "".join(agreed.agree_text(table, workers=2)) == document


def test_a_design_of_which_nothing_was_taken_costs_nobody_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    blank = [row.rsplit(",", 1)[0] + "," for row in rows_of("Dunlin", "blank", PATTERN)]
    path = written(tmp_path, *good("Lark", PATTERN), *blank)
    assert len([name for name in findings(capsys, path) if name.startswith("Lark")]) == 6
