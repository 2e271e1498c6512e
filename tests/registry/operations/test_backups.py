"""Backups are whole or refused; a registry moves between databases row for row."""

from __future__ import annotations

import gzip
import inspect
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.commands.main import main
from registry.errors import RegistryError
from registry.immutability import missing
from registry.models import ChartRevision, Design, Sheet, User
from registry.permissions import MODERATORS
from registry.services import backups
from registry.services.accounts import account_erase
from registry.services.audit import chain_seal
from registry.services.database_copy import copy_all, database, digests, migrate, sqlite_url
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body
from tests.machine import postgres_url

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def other_databases(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Databases under an alias made on the way may be reached; tests are kept from them otherwise."""
    guarded = inspect.getclosurevars(BaseDatabaseWrapper.ensure_connection).nonlocals
    monkeypatch.setattr(BaseDatabaseWrapper, "ensure_connection", guarded["real_ensure_connection"])


@pytest.fixture
def registry(settings: Any, tmp_path: Path) -> Design:
    """A design with two sheets and a chart, and a picture among the uploads."""
    settings.MEDIA_ROOT = tmp_path / "uploads"
    (tmp_path / "uploads" / "sheets").mkdir(parents=True)
    (tmp_path / "uploads" / "sheets" / "plug.jpg").write_bytes(b"a picture")
    Group.objects.get_or_create(name=MODERATORS)  # as every migrated registry has it
    design = made_design(made_user("proposer"))
    for n in range(2):
        sheet_submit(by=made_user(f"reader{n}"), body=sheet_body(design))
    chain_seal()
    return design


def restored(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """The tables of a fresh database filled from the backup."""
    with database(sqlite_url(tmp_path / "fresh.sqlite3"), "fresh") as fresh:
        migrate(fresh)
        manifest = backups.backup_check(path=path)
        with database(sqlite_url(unpacked(path, tmp_path)), "backup") as source:
            copy_all(source=source, target=fresh)
        assert {table: tuple(figures) for table, figures in manifest["tables"].items()} == digests(fresh)
        return digests(fresh)


def unpacked(path: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "unpacked"
    folder.mkdir(exist_ok=True)
    backups._unpack(path, folder)
    return folder / backups.DATABASE


def test_backup_holds_every_row_and_upload(
    registry: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "backup.tar.gz"
    assert main(["backup", str(path)]) == 0
    assert main(["backup", "--check", str(path)]) == 0
    assert path.stat().st_mode & 0o077 == 0
    assert restored(path, tmp_path, monkeypatch) == digests("default")
    assert (tmp_path / "unpacked" / "uploads" / "sheets" / "plug.jpg").read_bytes() == b"a picture"


def test_a_damaged_backup_is_refused(registry: Design, tmp_path: Path) -> None:
    path = tmp_path / "backup.tar.gz"
    backups.backup_make(path=path)
    whole = gzip.decompress(path.read_bytes())
    at = whole.index(b"a picture")
    path.write_bytes(gzip.compress(whole[:at] + b"another  " + whole[at + 9 :]))
    with pytest.raises(RegistryError, match=r"plug\.jpg"):
        backups.backup_check(path=path)
    path.write_bytes(path.read_bytes()[:200])
    with pytest.raises(RegistryError, match="no usable backup"):
        backups.backup_check(path=path)


def test_nothing_is_restored_over_a_registry_that_is_there(registry: Design, tmp_path: Path) -> None:
    path = tmp_path / "backup.tar.gz"
    backups.backup_make(path=path)
    before = digests("default")
    assert main(["restore", str(path)]) == 2
    assert digests("default") == before


def test_restored_over_an_emptied_database_with_later_erasures(
    registry: Design, tmp_path: Path, django_db_blocker: Any
) -> None:
    path, chain = tmp_path / "backup.tar.gz", tmp_path / "chain.jsonl"
    backups.backup_make(path=path)
    account_erase(by=User.objects.get(email="reader0@workshop.example"))
    assert main(["audit", "--export", str(chain)]) == 0
    from django.core.management import call_command

    call_command("flush", interactive=False, verbosity=0)
    assert not Sheet.objects.exists()
    assert main(["restore", str(path), "--erased", str(chain)]) == 0
    assert Sheet.objects.count() == 2
    assert not User.objects.filter(email="reader0@workshop.example").exists()
    assert User.objects.filter(email="reader1@workshop.example").exists()
    assert missing(connection) == []
    assert main(["audit"]) == 0


@pytest.mark.skipif(connection.vendor != "sqlite", reason="moves from SQLite; the way back is in it")
def test_to_postgresql_and_back_row_for_row(registry: Design, tmp_path: Path) -> None:
    server = postgres_url()
    if server is None:
        pytest.skip("no PostgreSQL server answers")
    before = digests("default")
    chart = bytes(ChartRevision.objects.latest("pk").content)
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute("DROP DATABASE IF EXISTS benchquorum_moved")
        admin.execute("CREATE DATABASE benchquorum_moved")
        try:
            url = server.rsplit("/", 1)[0] + "/benchquorum_moved"
            assert main(["move", "--to", url]) == 0
            assert main(["move", "--to", url]) == 2  # not twice into the same
            with (
                database(url, "moved") as moved,
                database(sqlite_url(tmp_path / "b.sqlite3"), "back") as back,
            ):
                migrate(back)
                assert copy_all(source=moved, target=back) == before == digests(back)
                assert bytes(ChartRevision.objects.using(moved).latest("pk").content) == chart
                new = Design.objects.using(moved).create(name="made after the move")  # keys go on
                assert new.pk > registry.pk
        finally:
            admin.execute("DROP DATABASE IF EXISTS benchquorum_moved WITH (FORCE)")
