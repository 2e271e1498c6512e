"""Backups are whole or refused; a registry moves between databases row for row."""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.apps import apps
from django.db import connection

from registry.commands.main import main
from registry.errors import RegistryError
from registry.models import ChartRevision, Design
from registry.services import backups
from registry.services.database_copy import (
    copied_models,
    copy_all,
    database,
    digests,
    migrate,
    sqlite_url,
)
from registry.services.key_sequences import last_keys
from tests.machine import postgres_url

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("other_databases")]


def test_no_table_is_left_out(registry: Design) -> None:
    """Every model of every app, links included; a row in each, so that a copy that loses one is seen."""
    tables = {
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.swapped
    }
    found = digests("default")
    assert set(found) == tables | {"django_migrations"} == set(connection.introspection.table_names())
    assert [table for table, (rows, _digest) in found.items() if not rows] == []


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
    before = digests("default")
    assert main(["backup", str(path)]) == 0
    assert main(["backup", "--check", str(path)]) == 0
    assert path.stat().st_mode & 0o077 == 0
    assert restored(path, tmp_path, monkeypatch) == before
    assert (tmp_path / "unpacked" / "uploads" / "sheets" / "plug.jpg").read_bytes() == b"a picture"


def test_a_picture_that_goes_meanwhile_is_left_out(
    registry: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = tmp_path / "uploads" / "sheets" / "gone.jpg"
    gone.write_bytes(b"about to be erased")
    listed = backups._uploads

    def erased_once_listed() -> list[tuple[str, Path]]:
        every = list(listed())
        gone.unlink()
        return every

    monkeypatch.setattr(backups, "_uploads", erased_once_listed)
    manifest = backups.backup_make(path=tmp_path / "backup.tar.gz")
    assert set(manifest["files"]) == {backups.DATABASE, "uploads/sheets/plug.jpg"}
    assert backups.backup_check(path=tmp_path / "backup.tar.gz") == manifest


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


@pytest.mark.skipif(connection.vendor != "sqlite", reason="only SQLite keeps what the other refuses")
@pytest.mark.parametrize(("text", "why"), [("a\0b", "NUL"), ("x" * 201, "too long")])
def test_a_row_that_the_other_database_refuses_is_named(
    registry: Design, capsys: pytest.CaptureFixture[str], text: str, why: str
) -> None:
    server = postgres_url()
    if server is None:
        pytest.skip("no PostgreSQL server answers")
    odd = Design.objects.create(name="odd")
    Design.objects.filter(pk=odd.pk).update(name=text)
    with psycopg.connect(server, autocommit=True) as admin:
        admin.execute("DROP DATABASE IF EXISTS benchquorum_refuses")
        admin.execute("CREATE DATABASE benchquorum_refuses")
        try:
            url = server.rsplit("/", 1)[0] + "/benchquorum_refuses"
            assert main(["move", "--to", url]) == 2
            said = capsys.readouterr().err
            assert f"row {odd.pk} of registry_design: " in said and why in said
            Design.objects.filter(pk=odd.pk).update(name="mended")
            assert main(["move", "--to", url]) == 0
        finally:
            admin.execute("DROP DATABASE IF EXISTS benchquorum_refuses WITH (FORCE)")


@pytest.mark.skipif(connection.vendor != "sqlite", reason="moves from SQLite; the way back is in it")
def test_to_postgresql_and_back_row_for_row(registry: Design, tmp_path: Path) -> None:
    server = postgres_url()
    if server is None:
        pytest.skip("no PostgreSQL server answers")
    gone = Design.objects.create(name="gone before the move").pk
    Design.objects.filter(pk=gone).delete()
    before, keys = digests("default"), last_keys("default", copied_models())
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
                assert last_keys("back", copied_models()) == keys == last_keys("moved", copied_models())
                # keys go on, and none that was given comes back
                new = Design.objects.using(moved).create(name="made after the move")
                assert new.pk > gone > registry.pk
        finally:
            admin.execute("DROP DATABASE IF EXISTS benchquorum_moved WITH (FORCE)")
