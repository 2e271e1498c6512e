"""A registry to be killed: its database is copied before each try, and read without the registry's code."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg

ROOT = Path(__file__).parents[2]
READINGS = """
SELECT d.name, s.name, s.client_id, s.body_digest, position.label, a.label, b.label,
r.sweep, r.as_typed, r.kind, r.low_ohm
FROM registry_reading r JOIN registry_sheetversion v ON v.id = r.version_id
JOIN registry_sheet s ON s.id = v.sheet_id JOIN registry_place p ON p.id = r.place_id
JOIN registry_design d ON d.id = s.design_id
JOIN registry_position position ON position.id = p.position_id
JOIN registry_pin a ON a.id = p.pin_a_id JOIN registry_pin b ON b.id = p.pin_b_id
"""
SHEETS = "SELECT count(*) FROM registry_sheet"
SHOWN = """
SELECT d.stale, c.units FROM registry_design d JOIN registry_currentchart c ON c.design_id = d.id
ORDER BY d.name
"""
MAKE = """
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.api.made import made_design, made_token, made_user
user = made_user()
print(made_token(user)); print(made_design(user).uuid)
"""
Rows = tuple[
    list[tuple[Any, ...]], int, list[tuple[Any, ...]]
]  # readings; sheets; what each design owes and shows


class World:
    """With an account and a design.  `fresh` gives the name of a copy, for `run` and `rows`."""

    token: str
    design: str

    def __init__(self, folder: Path) -> None:
        self.folder, self.copies = folder, 0
        folder.mkdir(exist_ok=True)

    def make(self) -> None:
        made = subprocess.run(
            [sys.executable, "-c", MAKE], cwd=ROOT, env=self.environment("0"), check=True,
            capture_output=True, text=True,
        )  # fmt: skip
        self.token, self.design = made.stdout.split("\n")[:2]

    def environment(self, copy: str) -> dict[str, str]:
        return {
            **os.environ,
            "DATABASE_URL": self.url(copy),
            "BENCHQUORUM_DATA": str(self.folder / copy),
            "BENCHQUORUM_SECRET_KEY": "of a test",
            "BENCHQUORUM_NEW_SHEETS": "0",
            "DJANGO_SETTINGS_MODULE": "registry.settings",
        }

    def url(self, copy: str) -> str:
        return ""

    def fresh(self) -> str:
        self.copies += 1
        shutil.copytree(self.folder / "0", self.folder / str(self.copies))
        return str(self.copies)

    def run(
        self, copy: str, arguments: Sequence[str], *, begins: bool, kill_after: float | None = None
    ) -> tuple[float, str]:
        """Seconds and output of `python -m …`; killed so many seconds after its start, or its first line."""
        process = subprocess.Popen(
            [sys.executable, "-m", *arguments], cwd=ROOT, env=self.environment(copy), text=True,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        assert process.stdout is not None
        with process.stdout:
            if begins:
                assert process.stdout.readline() == "begins\n"
            began = time.monotonic()
            if kill_after is not None:
                time.sleep(kill_after)
                process.kill()
            answer = process.stdout.read()
        seconds = time.monotonic() - began
        process.wait()
        return seconds, answer

    def rows(self, copy: str) -> Rows:
        with sqlite3.connect(self.folder / copy / "benchquorum.sqlite3") as database:
            found = _rows(database)
        database.close()
        return found


class PostgresWorld(World):
    """The same in databases of a server; `dropped` takes them away."""

    def __init__(self, folder: Path, server: str) -> None:
        super().__init__(folder)
        self.server, self.name = server, f"benchquorum_killed_{os.getpid()}"
        self.admin = psycopg.connect(server, autocommit=True)
        self.admin.execute(f"CREATE DATABASE {self.name}_0")

    def url(self, copy: str) -> str:
        return self.server.rsplit("/", 1)[0] + f"/{self.name}_{copy}"

    def fresh(self) -> str:
        copy = super().fresh()
        self._wait_until_left("0")
        self.admin.execute(f"CREATE DATABASE {self.name}_{copy} TEMPLATE {self.name}_0")
        return copy

    def rows(self, copy: str) -> Rows:
        self._wait_until_left(copy)
        with psycopg.connect(self.url(copy)) as database:
            return _rows(database)

    def _wait_until_left(self, copy: str) -> None:
        """The server's end of a killed process goes on until it notices, and may still commit."""
        asked = "SELECT count(*) FROM pg_stat_activity WHERE datname = %s"
        for _ in range(600):
            if self.admin.execute(asked, [f"{self.name}_{copy}"]).fetchone() == (0,):
                return
            time.sleep(0.05)
        raise AssertionError("somebody is still connected")

    def drop(self) -> None:
        for copy in range(self.copies + 1):
            self.admin.execute(f"DROP DATABASE IF EXISTS {self.name}_{copy} WITH (FORCE)")
        self.admin.close()


@contextmanager
def world_on(folder: Path, server: str | None) -> Iterator[World]:
    """server: of PostgreSQL; None: on SQLite."""
    world = World(folder) if server is None else PostgresWorld(folder, server)
    try:
        world.make()
        yield world
    finally:
        if isinstance(world, PostgresWorld):
            world.drop()


def _rows(database: Any) -> Rows:
    """Sorted here: databases differ in how they order text."""
    readings = sorted(tuple(str(field) for field in row) for row in database.execute(READINGS).fetchall())
    (sheets,) = database.execute(SHEETS).fetchone()
    shown = [(bool(stale), units) for stale, units in database.execute(SHOWN).fetchall()]
    return readings, sheets, shown
