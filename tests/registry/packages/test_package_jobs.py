"""Facts, units over time and outcomes in open data: what is public alone, computed anew, loaded again."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import shutil
from pathlib import Path
from uuid import UUID

import pytest
from frictionless import Package as Standard

from registry.bridge.package_figures import verify_figures
from registry.commands.main import main
from registry.formats.package_files import DESCRIPTOR, Package
from registry.formats.package_job_tables import JOB_TABLES
from registry.formats.package_part import Part
from registry.models import Change, Design, FactAnswer, OutcomeCounted, Sheet, UnitEvent
from registry.selectors.facts import facts_of
from registry.selectors.outcomes import outcomes_by_symptom
from registry.selectors.package_part import design_part
from registry.selectors.unit_lives import unit_lives
from registry.services.packages.loading import load_rows
from registry.services.packages.writing import export_package
from registry.services.sheets import sheet_submit
from tests.registry.moderation.made import pattern, sheet_json
from tests.registry.packages.jobs_made import PRIVATE_OF_JOBS, made_jobs
from tests.registry.packages.made import Instance, made_registry

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(tmp_path: Path, settings) -> tuple[Design, Path]:
    settings.BENCHQUORUM_REPLY_DAYS = 0
    design, sheets, people = made_registry()
    made_jobs(design, sheets, people)
    path = tmp_path / "open-data"
    export_package(path)
    return design, path


def rows(path: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((path / "data" / f"{name}.csv").read_text())))


def resealed(path: Path, table: str, old: bytes, new: bytes) -> None:
    """A forger who puts the digest right, too."""
    file = path / "data" / f"{table}.csv"
    assert old in file.read_bytes()
    file.write_bytes(file.read_bytes().replace(old, new))
    descriptor = json.loads((path / DESCRIPTOR).read_text())
    for entry in descriptor["resources"]:
        if entry["name"] == table:
            entry["hash"] = "sha256:" + hashlib.sha256(file.read_bytes()).hexdigest()
            entry["bytes"] = file.stat().st_size
    (path / DESCRIPTOR).write_text(json.dumps(descriptor))


def test_tables_are_valid_and_hold_what_is_public(world) -> None:
    _design, path = world
    report = Standard(str(path / DESCRIPTOR)).validate()
    assert report.valid, [(task.name, error.message) for task in report.tasks for error in task.errors]
    said = {row["fact"]: row for row in rows(path, "fact_standings")}
    asked = {(row["question"], row["subject"]): said[row["fact"]] for row in rows(path, "facts")}
    assert (asked["rest_in_place", ""]["choice"], asked["rest_in_place", ""]["voices"]) == ("yes", "5")
    assert asked["fluid", ""]["choice"] == "'=mineral oil"
    assert float(asked["fluid_litres", ""]["typical"]) == pytest.approx((1.0 * 1.5 * 2.0) ** (1 / 3))
    assert asked["tool", "Socket 25"]["standing"] == "disputed"
    assert ("adjusted", "") not in asked, "taken back"
    assert [(row["symptom"], row["checked"], row["at_fault"]) for row in rows(path, "outcomes")] == [
        ("all", "10", "7"),
        ("silent", "10", "7"),
    ]
    assert {row["reported_by"] for row in rows(path, "lives")} == {"fleet", "volunteers"}
    assert [row["failed_km"] for row in rows(path, "lives") if row["failed_km"]] == ["90000.5"]


def test_nothing_of_vehicles_fleets_and_people_is_in_them(world) -> None:
    _design, path = world
    text = "".join(file.read_text() for file in path.rglob("*") if file.is_file())
    assert [secret for secret in PRIVATE_OF_JOBS if secret in text] == []


def test_fewer_than_ten_outcomes_are_not_told(world, tmp_path: Path) -> None:
    design, _path = world
    job = design.jobs.first()
    job.closed_at = None
    job.save()
    export_package(tmp_path / "fewer")
    assert rows(tmp_path / "fewer", "outcomes") == []


def test_verify_computes_facts_and_lives_anew_and_names_what_differs(world, capsys) -> None:
    _design, path = world
    assert [(found.table, found.differs) for found in verify_figures(Package(path))] == [
        ("cells", ()),
        ("fact_standings", ()),
        ("lives", ()),
    ]
    assert main(["verify", str(path)]) == 0
    assert "lives: 2 rows come out the same" in capsys.readouterr().out
    resealed(path, "fact_answers", b",yes,,did_it", b",no,,did_it")
    resealed(path, "unit_events", b"90000.5", b"95000.5")
    assert main(["verify", str(path)]) == 1
    err = capsys.readouterr().err
    assert "fact_standings differs at" in err and "lives differs at" in err


def test_loaded_into_an_empty_instance_the_jobs_are_the_same(world, tmp_path: Path, settings) -> None:
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    export_package(first)
    there = Instance(tmp_path / "there", settings.BENCHQUORUM_ORIGIN)
    there.run("migrate")
    there.run("import", first)
    there.run("export", "--package", second)
    assert first.read_bytes() == second.read_bytes()


def test_a_package_from_before_the_tables_still_loads(world, tmp_path: Path, settings) -> None:
    old = tmp_path / "old"
    shutil.copytree(world[1], old)
    descriptor = json.loads((old / DESCRIPTOR).read_text())
    names = {table.name for table in JOB_TABLES}
    descriptor["resources"] = [one for one in descriptor["resources"] if one["name"] not in names]
    (old / DESCRIPTOR).write_text(json.dumps(descriptor))
    for name in names:
        (old / "data" / f"{name}.csv").unlink()
    there = Instance(tmp_path / "there", settings.BENCHQUORUM_ORIGIN)
    there.run("migrate")
    there.run("import", old)
    assert "0 differ" in there.run("verify", old)


def test_the_order_of_storing_goes_with_a_package_and_one_from_before_it_loads(
    world, tmp_path: Path, settings
) -> None:
    """Two sheets of a unit on one day: their ids say nothing of which is the newer."""
    design, _path = world
    told = UnitEvent.objects.filter(kind="failed", withdrawn_at=None).get().unit
    by = told.contributor.user
    for n, source_class in enumerate(("equivalent", "original")):
        of_day = {"unit": {"key": told.key}, "source_class": source_class, "read_on": "2026-03-01"}
        sheet = sheet_submit(by=by, body=sheet_json(design, pattern(), **of_day))
        Sheet.objects.filter(pk=sheet.pk).update(uuid=UUID(int=9 - n))
    first, second, old = tmp_path / "first", tmp_path / "second", tmp_path / "old"
    export_package(first)
    lives = {row["unit"]: row["class"] for row in rows(first, "lives")}
    assert lives[str(told.uuid)] == "original"
    assert {found.differs for found in verify_figures(Package(first))} == {()}
    there = Instance(tmp_path / "there", settings.BENCHQUORUM_ORIGIN)
    there.run("migrate")
    there.run("import", first)
    there.run("export", "--package", second)
    for name in ("sheets", "lives"):
        assert rows(first, name) == rows(second, name)

    shutil.copytree(first, old)
    table = rows(old, "sheets")
    assert [row.pop("stored") for row in table] == [row["stored"] for row in rows(first, "sheets")]
    with (old / "data" / "sheets.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(table[0]), lineterminator="\r\n")
        writer.writeheader()
        writer.writerows(table)
    resealed(old, "sheets", b"", b"")
    before = Instance(tmp_path / "before", settings.BENCHQUORUM_ORIGIN)
    before.run("migrate")
    before.run("import", old)
    part = json.loads(foreign(design))
    taken = [row.pop() for row in part["tables"]["sheets"]]
    assert len(list(Part(json.dumps(part).encode()).rows("sheets"))) == len(taken) > 0


def foreign(design: Design) -> bytes:
    """The design's part as another registry would send it."""
    content = design_part(design.uuid)
    assert content is not None
    plain = json.loads(content)
    text = json.dumps({**plain, "origin": "elsewhere"})
    return text.replace('"local"', '"elsewhere"').encode()


def taken_over(design: Design) -> bytes:
    """The part, and an instance in which all of it came from elsewhere."""
    content = foreign(design)
    for model in (Design, Sheet, FactAnswer, UnitEvent):
        model.objects.update(origin="elsewhere")
    return content


def test_what_is_taken_back_there_is_taken_back_here_and_copies_change_nothing(world) -> None:
    design, _path = world
    part = json.loads(taken_over(design))
    before = [(line.question.code, line.agreement) for line in facts_of(design)]
    lives = unit_lives(design)
    load_rows(Part(json.dumps(part).encode()), charts=False, of={"elsewhere"}, complete=True)
    assert [(line.question.code, line.agreement) for line in facts_of(design)] == before
    assert unit_lives(design) == lives
    told = OutcomeCounted.objects.get(symptom="silent")
    assert (told.origin, told.checked) == ("elsewhere", 10)
    assert outcomes_by_symptom(design)["silent"].checked == 20, "ten of ours, ten of theirs"
    part["tables"]["outcomes"] = []
    part["tables"]["fact_answers"] = part["tables"]["fact_answers"][1:]
    gone = part["tables"]["unit_events"].pop()[0]
    load_rows(Part(json.dumps(part).encode()), charts=False, of={"elsewhere"}, complete=True)
    assert FactAnswer.objects.filter(fact__design=design, is_current=True).count() == len(
        part["tables"]["fact_answers"]
    )
    assert UnitEvent.objects.get(uuid=gone).withdrawn_at is not None
    assert not OutcomeCounted.objects.exists()


def test_our_own_answers_that_come_back_are_not_stored_again(world) -> None:
    design, _path = world
    content = design_part(design.uuid)
    assert content is not None
    counts = (FactAnswer.objects.count(), UnitEvent.objects.count(), OutcomeCounted.objects.count())
    load_rows(Part(content), charts=False, of={"elsewhere"}, complete=True)
    assert (FactAnswer.objects.count(), UnitEvent.objects.count(), OutcomeCounted.objects.count()) == counts


def test_a_part_of_an_older_registry_takes_nothing_back(world) -> None:
    design, _path = world
    part = json.loads(taken_over(design))
    for table in JOB_TABLES:
        part["tables"].pop(table.name, None)
    count = FactAnswer.objects.filter(is_current=True).count()
    load_rows(Part(json.dumps(part).encode()), charts=False, of={"elsewhere"}, complete=True)
    assert FactAnswer.objects.filter(is_current=True).count() == count


def test_the_feed_says_that_a_job_told_something(world) -> None:
    design, _path = world
    told = Change.objects.filter(kind=Change.Kind.JOB_TOLD, design_uuid=design.uuid)
    assert {change.payload["table"] for change in told} == {"facts", "unit_events"}
