"""Open data: what a package holds, that nothing private is in it, and that anybody gets the same bytes."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import shutil
import zipfile
from importlib import import_module
from pathlib import Path

import pytest
from frictionless import Package as Standard

from registry.bridge.packages import verify_package
from registry.commands.main import main
from registry.errors import RegistryError, RegistryErrors
from registry.formats.package_files import DESCRIPTOR, Package
from registry.formats.package_parquet import parquet_require
from registry.models import ChartRevision
from registry.services.charts import chart_refresh
from registry.services.packages.loading import package_load
from registry.services.packages.writing import export_package
from tests.registry.packages.made import PRIVATE, Instance, made_registry

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(tmp_path: Path, settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    design, _sheets, _people = made_registry()
    path = tmp_path / "open-data"
    export_package(path)
    return design, path


def rows(path: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((path / "data" / f"{name}.csv").read_text())))


def test_package_is_valid_by_its_own_standard(world):
    _design, path = world
    report = Standard(str(path / DESCRIPTOR)).validate()
    wrong = [(task.name, error.message) for task in report.tasks for error in task.errors]
    assert report.valid, wrong
    tables = {resource["name"] for resource in json.loads((path / DESCRIPTOR).read_text())["resources"]}
    assert {"designs", "charts", "cells", "readings", "decisions", "snapshots", "settings"} <= tables


def test_same_registry_gives_the_same_bytes_and_says_its_licence(world, tmp_path, settings):
    first, second = tmp_path / "one.zip", tmp_path / "two.zip"
    assert export_package(first) == export_package(second)
    assert first.read_bytes() == second.read_bytes()
    with zipfile.ZipFile(first) as members:
        descriptor = json.loads(members.read(DESCRIPTOR))
    assert descriptor["licenses"][0]["name"] == settings.BENCHQUORUM_DATA_LICENCE
    assert rows(world[1], "sheets")[0]["licence"] == settings.BENCHQUORUM_DATA_LICENCE


def test_a_table_left_half_way_is_closed_with_its_package(world, tmp_path):
    export_package(tmp_path / "whole.zip")
    with Package(tmp_path / "whole.zip") as package:
        left = package.rows("readings")
        next(left)
        assert package._zip is not None
        file = package._zip.fp
        assert file is not None and not file.closed
    assert file.closed


def test_nothing_private_is_in_it(world):
    _design, path = world
    text = "".join(file.read_text() for file in path.rglob("*") if file.is_file())
    assert [secret for secret in PRIVATE if secret in text] == []


def test_what_was_taken_back_is_left_out_and_named(world):
    _design, path = world
    assert len({row["sheet"] for row in rows(path, "sheets")}) == 6
    held_back = [row["held_back"] for row in rows(path, "charts")]
    assert "1" in held_back and held_back[-1] == "0"


def test_text_that_a_spreadsheet_would_run_is_led_by_an_apostrophe(world):
    _design, path = world
    assert rows(path, "designs")[0]["description"] == "'=HYPERLINK(1)"
    assert next(Package(path).rows("designs"))["description"] == "=HYPERLINK(1)"


def test_every_chart_is_computed_anew_to_the_same_bytes(world, capsys):
    _design, path = world
    verdicts = [found.verdict for found in verify_package(Package(path))]
    published = ChartRevision.objects.filter(state__in=("published", "withdrawn"))
    assert len(verdicts) == published.count()
    assert set(verdicts) == {"same", "held_back"} and verdicts[-1] == "same"
    assert main(["verify", str(path)]) == 0
    assert "0 differ" in capsys.readouterr().out


def put_right(path: Path, name: str) -> None:
    """The digest of a table in the descriptor, as a forger would."""
    descriptor = json.loads((path / DESCRIPTOR).read_text())
    for entry in descriptor["resources"]:
        if entry["name"] == name:
            content = (path / "data" / f"{name}.csv").read_bytes()
            entry["hash"] = "sha256:" + hashlib.sha256(content).hexdigest()
    (path / DESCRIPTOR).write_text(json.dumps(descriptor))


def test_verify_says_where_a_chart_differs(world, capsys):
    """The forger has put the digests right, too."""
    _design, path = world
    file = path / "data" / "readings.csv"
    lines = [
        line.replace(b",OL,over_limit,,,", b",0.4,value,0.4,0.4,") if b",R,false,2,1," in line else line
        for line in file.read_bytes().splitlines(keepends=True)
    ]
    file.write_bytes(b"".join(lines))
    assert main(["verify", str(path)]) == 2
    assert "data/readings.csv" in capsys.readouterr().err
    put_right(path, "readings")
    assert main(["verify", str(path)]) == 1
    out, err = capsys.readouterr()
    assert "R, pin 2 against 1" in err and "differ" in out


def test_verify_holds_the_table_of_cells_against_the_charts(world, capsys):
    _design, path = world
    file = path / "data" / "cells.csv"
    text = file.read_text()
    row = next(line for line in text.splitlines() if ",closed," in line)
    for forged, differ in ((row.replace(",closed,", ",open,") + "\r\n", 1), ("", 1), (f"{row}\r\n", 0)):
        with file.open("w", newline="") as out:
            out.write(text.replace(f"{row}\n", forged))
        put_right(path, "cells")
        assert main(["verify", str(path)]) == differ
        out, err = capsys.readouterr()
        assert ("cells differs at" in err) is bool(differ)
        assert f"the same, {differ} differ." in out


def test_verify_holds_each_chart_against_its_own_digest(world, capsys):
    """Those too that can't be computed: a sheet behind them was taken back."""
    _design, path = world
    file = path / "data" / "charts.csv"
    row = next(row for row in rows(path, "charts") if row["held_back"] != "0")
    file.write_bytes(file.read_bytes().replace(row["content_sha256"].encode(), b"0" * 64))
    put_right(path, "charts")
    assert main(["verify", str(path)]) == 1
    assert f"revision {row['revision']} differs at /content_sha256" in capsys.readouterr().err


def test_a_registry_that_is_not_empty_takes_no_package(world):
    _design, path = world
    with pytest.raises(RegistryError, match="already"):
        package_load(path)


def test_loaded_into_an_empty_instance_it_is_the_same_registry(world, tmp_path, settings):
    """Charts to the byte, computed there too; and its own package is the same file."""
    design, _path = world
    first = tmp_path / "first.zip"
    export_package(first)
    there = Instance(tmp_path / "there", settings.BENCHQUORUM_ORIGIN)
    there.run("migrate")
    assert "1 designs, 6 sheets" in there.run("import", first)
    second = tmp_path / "second.zip"
    there.run("export", "--package", second)
    assert first.read_bytes() == second.read_bytes()
    assert ", 0 new revisions" in there.run("recompute")
    assert chart_refresh(design_id=design.pk) is None


def test_damaged_packages_are_refused_with_the_file_named(world, tmp_path):
    _design, path = world
    for break_it, error in (
        (lambda folder: (folder / "data" / "pins.csv").unlink(), "data/pins.csv"),
        (lambda folder: (folder / DESCRIPTOR).write_text("{"), "no open-data package"),
        (lambda folder: (folder / DESCRIPTOR).write_text('{"resources": []}'), "not of the format"),
    ):
        copy = tmp_path / "copy"
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(path, copy)
        break_it(copy)
        with pytest.raises((RegistryError, RegistryErrors), match=error):
            Package(copy).check_digests()


def test_descriptor_that_points_out_of_its_folder_reads_nothing(world):
    _design, path = world
    (path.parent / "secret").write_text("x")
    descriptor = json.loads((path / DESCRIPTOR).read_text())
    descriptor["resources"][0]["path"] = "../secret"
    (path / DESCRIPTOR).write_text(json.dumps(descriptor))
    with pytest.raises(RegistryErrors, match="is not the file"):
        Package(path).check_digests()


def test_tables_as_parquet_hold_the_same_rows(world, tmp_path):
    parquet = import_module("pyarrow.parquet")
    path, again = tmp_path / "with", tmp_path / "again"
    assert export_package(path, parquet=True) == export_package(again, parquet=True)
    table = parquet.read_table(path / "parquet" / "readings.parquet").to_pylist()
    plain = list(Package(path).rows("readings"))
    assert [row["low_ohm"] for row in table] == [row["low_ohm"] for row in plain]
    assert [row["first_pass"] for row in table] == [row["first_pass"] for row in plain]


def test_without_the_parquet_extra_it_says_how_to_get_it(monkeypatch):
    def missing(name: str):
        raise ImportError(name)

    monkeypatch.setattr("registry.formats.package_parquet.import_module", missing)
    with pytest.raises(RegistryError, match=r"benchquorum\[parquet\]"):
        parquet_require()


def test_a_folder_with_other_things_in_it_is_left_alone(world, tmp_path):
    folder = tmp_path / "papers"
    folder.mkdir()
    (folder / "letter.txt").write_text("dear")
    with pytest.raises(RegistryError, match="no package"):
        export_package(folder)
    assert (folder / "letter.txt").read_text() == "dear"
