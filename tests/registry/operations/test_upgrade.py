"""The old version serves on while the new one is put in its place."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection, migrations, models
from django.db.migrations import Migration
from django.db.migrations.loader import MigrationLoader

from registry.commands import migrate
from registry.errors import RegistryError
from registry.immutability import missing

NEWEST_UNRELEASED = "0017"  # up to here no older version was ever in use


def unfit_for_old_code(migration: Migration) -> list[str]:
    """What the version before could not live with: it names its own columns when it stores a row.

    A default of Django's is not the database's: the column is made with it, and then has none.
    """
    made = {op.name_lower for op in migration.operations if isinstance(op, migrations.CreateModel)}
    unfit = []
    for op in migration.operations:
        if isinstance(op, migrations.AddField | migrations.AlterField) and op.model_name_lower not in made:
            field = op.field
            if not (field.null or field.many_to_many or field.has_db_default()):
                unfit.append(f"{migration.name}: {op.model_name}.{op.name} needs null or db_default")
        if isinstance(op, migrations.RenameField | migrations.RenameModel):
            unfit.append(f"{migration.name}: {op.describe()}")
    return unfit


def test_columns_added_since_can_be_left_out_by_old_code() -> None:
    ours = [one for (app, _), one in MigrationLoader(None).disk_migrations.items() if app == "registry"]
    assert len(ours) >= 17
    unfit = [line for one in ours if one.name[:4] > NEWEST_UNRELEASED for line in unfit_for_old_code(one)]
    assert unfit == []


@pytest.mark.parametrize(
    ("field", "fits"),
    [
        (models.IntegerField(default=0), False),
        (models.CharField(max_length=9, default="", blank=True), False),
        (models.IntegerField(db_default=0), True),
        (models.IntegerField(null=True), True),
        (models.ManyToManyField("registry.Design"), True),
    ],
)
def test_a_default_of_djangos_is_none_of_the_databases(field: models.Field, fits: bool) -> None:
    one = Migration("0099_made_up", "registry")
    one.operations = [migrations.AddField("sheet", "made_up", field)]
    assert (unfit_for_old_code(one) == []) is fits
    one.operations.insert(0, migrations.CreateModel("Sheet", []))
    assert unfit_for_old_code(one) == []  # a table that old code doesn't know


def test_a_renamed_column_is_gone_for_old_code() -> None:
    one = Migration("0099_made_up", "registry")
    one.operations = [migrations.RenameField("sheet", "old", "new")]
    assert len(unfit_for_old_code(one)) == 1


@contextmanager
def backup_under_way() -> Iterator[None]:
    """It reads all tables in one transaction, for as long as it takes."""
    backup = connection.copy()
    try:
        backup.set_autocommit(False)
        with backup.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM registry_reading")
        yield
    finally:
        backup.close()


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.commands.migrate.LOCK_SECONDS", 3)
    monkeypatch.setattr("registry.triggers.LOCK_SECONDS", 3)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite's readers hold nobody up")
@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("impatient")
def test_an_upgrade_beside_a_backup_waits_for_nothing_or_not_for_long() -> None:
    with backup_under_way():
        assert migrate.run(Namespace(quiet=True)) == 0  # the triggers stand
    with connection.cursor() as cursor:
        cursor.execute("COMMENT ON TRIGGER registry_reading_kept_delete ON registry_reading IS 'older'")
    with backup_under_way(), pytest.raises(RegistryError) as refused:
        migrate.run(Namespace(quiet=True))
    assert refused.value.code == "table_in_use"
    assert missing(connection) == []
    assert migrate.run(Namespace(quiet=True)) == 0
    with connection.cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        assert cursor.fetchone()[0] == "0"  # others wait as ever
