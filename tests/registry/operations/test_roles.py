"""The roles of `deploy/database/roles.sql`: the server's is enough for all that it does, and for no more."""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
from django.db import connection

from registry.stores import database

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL has roles")


class Registry:
    """A database made by the recipe, under names of its own."""

    def __init__(self, folder: Path) -> None:
        self.name = f"bq_{secrets.token_hex(4)}"
        self.folder = folder
        self.admin = os.environ["DATABASE_URL"]
        self.password = secrets.token_hex(8)

    def url(self, role: str) -> str:
        at = urlsplit(self.admin)
        return f"postgres://{role}:{self.password}@{at.hostname}:{at.port or 5432}/{self.name}"

    def make(self, *options: str) -> None:
        script = (ROOT / "deploy" / "database" / "roles.sql").read_text().replace("benchquorum", self.name)
        passwords = {"OWNER_PASSWORD": self.password, "SERVER_PASSWORD": self.password}
        done = subprocess.run(
            ["psql", "--no-psqlrc", "--quiet", "--dbname", self.admin, *options, "--file", "-"],
            input=script, env={**os.environ, **passwords},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr

    def run(self, role: str, *arguments: str) -> None:
        self.python(role, "registry.commands.main", *arguments)

    def python(self, role: str, *arguments: str) -> None:
        environment = {
            "PATH": os.environ["PATH"], "DJANGO_SETTINGS_MODULE": "registry.settings",
            "DATABASE_URL": self.url(role), "BENCHQUORUM_DATA": str(self.folder),
            "BENCHQUORUM_QUEUE": "database", "BENCHQUORUM_SECRET_KEY": "k" * 50,
        }  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-m", *arguments],
            cwd=ROOT, env=environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, f"{arguments}: {done.stdout}{done.stderr}"

    def drop(self) -> None:
        with psycopg.connect(self.admin, autocommit=True) as line:
            line.execute(f"DROP DATABASE IF EXISTS {self.name} WITH (FORCE)")
            line.execute(f"DROP DATABASE IF EXISTS {self.name}_2 WITH (FORCE)")
            line.execute(f"DROP ROLE IF EXISTS {self.name}")
            line.execute(f"DROP ROLE IF EXISTS owner_of_{self.name}")


@pytest.fixture(scope="module")
def registry(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Registry]:
    assert shutil.which("psql"), "the client of the database server"
    made = Registry(tmp_path_factory.mktemp("roles"))
    try:
        made.make()
        made.run(f"owner_of_{made.name}", "migrate", "--quiet")
        yield made
    finally:
        made.drop()


def test_the_servers_role_is_enough_for_work_jobs_and_backup(registry: Registry) -> None:
    registry.python(registry.name, "tests.registry.operations.a_day_of_work")
    for command in (["work", "--batch"], ["due", "--quiet"], ["recompute"], ["recompute", "--snapshot"],
                    ["backup", str(registry.folder / "backup.tar.gz")], ["audit"]):  # fmt: skip
        registry.run(registry.name, *command)


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER registry_reading_kept_update ON registry_reading",
        "ALTER TABLE registry_reading DISABLE TRIGGER ALL",
        "CREATE OR REPLACE FUNCTION registry_reading_kept() RETURNS trigger LANGUAGE plpgsql "
        "AS $$ BEGIN RETURN NEW; END $$",
        "TRUNCATE registry_auditentry",
        "DROP TABLE registry_auditentry",
        "SET session_replication_role = replica",
        "CREATE TABLE of_its_own (id int)",
        "SET ROLE {owner}",
    ],
)
def test_the_servers_role_cannot_take_the_triggers_away(registry: Registry, statement: str) -> None:
    with (
        psycopg.connect(registry.url(registry.name)) as line,
        pytest.raises(psycopg.errors.InsufficientPrivilege),
    ):
        line.execute(statement.format(owner=f"owner_of_{registry.name}"))


def test_the_recipe_runs_again_and_makes_a_further_database_for_the_same_roles(registry: Registry) -> None:
    registry.make()
    registry.make("-v", f"database={registry.name}_2")
    first = registry.name
    registry.name = f"{first}_2"
    try:
        with psycopg.connect(registry.url(f"owner_of_{first}")) as line:
            line.execute("CREATE TABLE made (id int)")
        with psycopg.connect(registry.url(first)) as line:
            line.execute("INSERT INTO made VALUES (1)")
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                line.execute("DROP TABLE made")
    finally:
        registry.name = first


def test_a_stranger_gets_no_further_than_the_door(registry: Registry) -> None:
    stranger = f"{registry.name}_stranger"
    with psycopg.connect(registry.admin, autocommit=True) as line:
        line.execute(f"CREATE ROLE {stranger} LOGIN PASSWORD '{registry.password}'")
    try:
        with pytest.raises(psycopg.OperationalError, match="permission denied"):
            psycopg.connect(registry.url(stranger))
    finally:
        with psycopg.connect(registry.admin, autocommit=True) as line:
            line.execute(f"DROP ROLE {stranger}")


def test_both_ends_of_a_line_notice_that_the_other_machine_is_gone(registry: Registry) -> None:
    """Ours by what we ask of our own machine; the database's by its role, as PgBouncer takes no such wish."""
    ours: Any = database(registry.url(registry.name), ROOT)
    assert ours["OPTIONS"] == {
        "keepalives_idle": 10, "keepalives_interval": 5, "keepalives_count": 3, "tcp_user_timeout": 25_000,
    }  # fmt: skip
    with psycopg.connect(registry.url(registry.name)) as line:
        told = {
            name: line.execute(f"SHOW {name}").fetchone()[0]
            for name in ("tcp_keepalives_idle", "tcp_keepalives_interval", "tcp_keepalives_count",
                         "tcp_user_timeout")
        }  # fmt: skip
    assert list(told.values()) == ["10", "5", "3", "25000"], told


def test_whoever_sets_options_of_his_own_means_them() -> None:
    given: Any = database("postgres://u:p@127.0.0.1/x?options=-c%20statement_timeout=9", ROOT)
    assert given["OPTIONS"]["options"] == "-c statement_timeout=9"
