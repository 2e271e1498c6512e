"""The bulk call killed with -9 wherever it is, and sent again: the same rows, once, and their chart."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.api.bulk_process import SHEETS

ROOT = Path(__file__).parents[2]
# Shares of the undisturbed call's time; 1.02: it has answered, and the answer may or may not have arrived.
MOMENTS = (0.02, 0.2, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.02)
READINGS = """
SELECT s.client_id, s.body_digest, position.label, a.label, b.label, r.sweep, r.as_typed, r.kind, r.low_ohm
FROM registry_reading r JOIN registry_sheetversion v ON v.id = r.version_id
JOIN registry_sheet s ON s.id = v.sheet_id JOIN registry_place p ON p.id = r.place_id
JOIN registry_position position ON position.id = p.position_id
JOIN registry_pin a ON a.id = p.pin_a_id JOIN registry_pin b ON b.id = p.pin_b_id
ORDER BY 1, 3, 4, 5, 6
"""
SHOWN = """
SELECT d.stale, c.units FROM registry_design d JOIN registry_currentchart c ON c.design_id = d.id
"""
MAKE = """
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.api.made import made_design, made_token, made_user
user = made_user()
print(made_token(user)); print(made_design(user).uuid)
"""


class World:
    """A registry with an account and a design, in a folder of its own; `fresh` gives a copy of it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.copies = folder, 0
        made = subprocess.run(
            [sys.executable, "-c", MAKE], cwd=ROOT, env=self.environment(folder), check=True,
            capture_output=True, text=True,
        )  # fmt: skip
        self.token, self.design = made.stdout.split("\n")[:2]

    @staticmethod
    def environment(folder: Path) -> dict[str, str]:
        return {
            **os.environ,
            "DATABASE_URL": "",
            "BENCHQUORUM_DATA": str(folder),
            "BENCHQUORUM_SECRET_KEY": "of a test",
            "BENCHQUORUM_NEW_SHEETS": "0",
            "DJANGO_SETTINGS_MODULE": "registry.settings",
        }

    def fresh(self) -> Path:
        self.copies += 1
        copy = self.folder.with_name(f"{self.folder.name}-{self.copies}")
        shutil.copytree(self.folder, copy)
        return copy

    def send(self, folder: Path, *, kill_after: float | None = None, key: str = "") -> tuple[float, str]:
        """Seconds of the call, and its answer; killed so many seconds after it began."""
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.api.bulk_process", self.token, self.design, key],
            cwd=ROOT, env=self.environment(folder), text=True,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        assert process.stdout is not None
        with process.stdout:
            assert process.stdout.readline() == "begins\n"
            began = time.monotonic()
            if kill_after is not None:
                time.sleep(kill_after)
                process.kill()
            answer = process.stdout.read()
        seconds = time.monotonic() - began
        process.wait()
        return seconds, answer


def rows(folder: Path) -> tuple[list[tuple[object, ...]], int, list[tuple[object, ...]]]:
    """Readings, sheets, and what the design owes and shows."""
    with sqlite3.connect(folder / "benchquorum.sqlite3") as database:
        readings = database.execute(READINGS).fetchall()
        (sheets,) = database.execute("SELECT count(*) FROM registry_sheet").fetchone()
        shown = database.execute(SHOWN).fetchall()
    database.close()
    return readings, sheets, shown


@pytest.mark.slow
def test_a_bulk_call_killed_anywhere_and_sent_again_leaves_the_same_rows_once(tmp_path: Path) -> None:
    world = World(tmp_path / "registry")
    undisturbed = world.fresh()
    seconds, answer = world.send(undisturbed)
    assert json.loads(answer)["stored"] == SHEETS
    wanted = rows(undisturbed)
    assert len(wanted[0]) == SHEETS * 16 and wanted[1:] == (SHEETS, [(0, SHEETS)])
    stored = []
    for n, share in enumerate(MOMENTS):
        folder, key = world.fresh(), f"call-{n}" if n % 2 else ""
        world.send(folder, kill_after=seconds * share, key=key)
        stored.append(rows(folder)[1])
        assert stored[-1] in (0, SHEETS)
        _seconds, answer = world.send(folder, key=key)
        told = json.loads(answer)
        assert (told["stored"] + told["known"], told["refused"]) == (SHEETS, 0)
        assert rows(folder) == wanted
    assert stored[0] == 0
