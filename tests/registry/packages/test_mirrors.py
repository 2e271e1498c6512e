"""Mirrors and exchange, between registries that run: equal in the end, however often they are killed."""

from __future__ import annotations

import json
import random
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.registry.packages.made import ROOT, Instance
from tests.registry.packages.serving import published, served

WORLD = ROOT / "tests" / "data" / "worlds" / "few-units" / "readings.csv"
KILLS = 20
CHANGE = """
import django; django.setup()
from django.conf import settings
from registry.models import Sheet, User, ChartRevision
from registry.services.sheets import sheet_withdraw
from registry.services.decisions import decide
from django.contrib.auth.models import Group
from registry.permissions import MODERATORS
own = Sheet.objects.filter(origin=settings.BENCHQUORUM_ORIGIN).order_by("uuid")
sheet = own.first()
owner = User.objects.create_user("owner@workshop.example", None)
sheet.contributor.user = owner; sheet.contributor.save()
sheet_withdraw(by=owner, sheet=sheet, reason="wrong switch")
desk = User.objects.create_user("desk@workshop.example", None)
desk.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
other = own.exclude(design=sheet.design).first()
decide(by=desk, kind="set_aside", target_kind="sheet", target_uuid=other.uuid, reason="It is so.")
"""


CENSUS = """
import django; django.setup()
import json
from registry.models import Change, CurrentChart, Design, Reading, Sheet
rows = [model.objects.values_list("origin", "uuid") for model in (Sheet, Design)]
named = [sorted(f"{origin} {uuid}" for origin, uuid in one) for one in rows]
counts = [Reading.objects.count(), CurrentChart.objects.count()]
gone = sorted(map(str, Sheet.objects.exclude(withdrawn_at=None).values_list("uuid", flat=True)))
print(json.dumps([*named, *counts, gone, Change.objects.count()]))
"""


def part_of_the_world(folder: Path, wanted: range) -> Path:
    header, *rows = WORLD.read_text().splitlines()
    names = sorted({row.split(",")[0] for row in rows})[wanted.start : wanted.stop]
    path = folder / f"part-{wanted.start}.csv"
    path.write_text("\n".join([header, *(row for row in rows if row.split(",")[0] in names), ""]))
    return path


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated database to copy."""
    folder = tmp_path_factory.mktemp("empty")
    Instance(folder).run("migrate")
    return folder


@pytest.fixture
def made(empty: Path, tmp_path: Path):
    def instance(name: str) -> Instance:
        folder = tmp_path / name
        shutil.copytree(empty, folder)
        return Instance(folder, name)

    return instance


def run_code(instance: Instance, code: str) -> str:
    more = {"DJANGO_SETTINGS_MODULE": "registry.settings", "BENCHQUORUM_REPLY_DAYS": "0"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=instance.environment(**more), capture_output=True,
        text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_mirror_follows_and_is_read_only(made, tmp_path: Path) -> None:
    source, mirror = made("source"), made("mirror")
    source.run("import", part_of_the_world(tmp_path, range(4)))
    with served(source) as url:
        assert "4 designs taken over" in mirror.run("pull", url, "--private")
        first = published(source, tmp_path / "s1")
        assert published(mirror, tmp_path / "m1") == first
        assert "0 designs taken over" in mirror.run("pull", url, "--private")
        run_code(source, CHANGE)
        source.run("import", part_of_the_world(tmp_path, range(4, 5)))
        mirror.run("pull", url, "--private")
        second = published(source, tmp_path / "s2")
        assert published(mirror, tmp_path / "m2") == second
        assert second["data/readings.csv"] != first["data/readings.csv"]
    assert "0 differ" in mirror.run("recompute", "--verify")
    assert "read-only mirror" in mirror.run("import", part_of_the_world(tmp_path, range(5, 6)), status=2)
    assert "does not answer" in mirror.run("pull", url, "--private", status=2)


def test_mirror_killed_twenty_times_at_random_ends_equal(made, tmp_path: Path) -> None:
    source, mirror = made("source"), made("mirror")
    source.run("import", part_of_the_world(tmp_path, range(12)))
    chance = random.Random(20)
    ended = 0
    with served(source) as url:
        for _kill in range(KILLS):
            process = subprocess.Popen(
                [sys.executable, "-m", "registry.commands.main", "pull", url, "--private"],
                cwd=ROOT, env=mirror.environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            try:
                process.wait(0.9 + chance.random() * 0.5)  # most of it starting up
                ended += 1
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                process.wait()
        mirror.run("pull", url, "--private")
        assert published(mirror, tmp_path / "m") == published(source, tmp_path / "s")
    assert ended < KILLS


def test_two_registries_exchange_without_loops_or_doubles(made, tmp_path: Path) -> None:
    north, south = made("north"), made("south")
    north.run("import", part_of_the_world(tmp_path, range(3)))
    south.run("import", part_of_the_world(tmp_path, range(2, 5)))  # one design's name is in both
    with served(north) as north_url, served(south) as south_url:
        for _round in range(2):
            north.run("pull", south_url, "--exchange", "--private")
            south.run("pull", north_url, "--exchange", "--private")
        first = [json.loads(run_code(one, CENSUS)) for one in (north, south)]
        assert first[0][:5] == first[1][:5]
        assert first[0][3] == 6  # charts: two designs of one name are two
        assert {name.split()[0] for name in first[0][0]} == {"north", "south"}
        assert len(first[0][0]) == len(set(first[0][0]))
        for _round in range(2):
            north.run("pull", south_url, "--exchange", "--private")
            south.run("pull", north_url, "--exchange", "--private")
        assert [json.loads(run_code(one, CENSUS)) for one in (north, south)] == first
        run_code(north, CHANGE)
        south.run("pull", north_url, "--exchange", "--private")
        last = [json.loads(run_code(one, CENSUS)) for one in (north, south)]
        assert last[0][4] == last[1][4] != []
