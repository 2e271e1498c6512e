"""What is published or typed can't be changed in the database, whoever asks."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry import chart_notices
from registry.immutability import KEPT, Kept, install, lifted, missing, unlike
from registry.models import AuditEntry, ChartRevision, Design, Reading, SheetVersion
from registry.services.accounts import account_erase
from registry.services.audit import chain_seal, record
from registry.services.sheets import sheet_amend, sheet_submit
from registry.triggers import drop
from tests.api.made import made_design, made_revision, made_user, sheet_body

pytestmark = pytest.mark.django_db
postgresql = pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL has such a thing")


@pytest.fixture
def design() -> Design:
    return made_design(made_user("proposer"))


def refused(act: Any) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        act()


def test_every_trigger_is_there_and_one_taken_away_is_missed() -> None:
    assert missing(connection) == []
    with connection.cursor() as cursor:
        on = " ON registry_reading" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER registry_reading_kept_update{on}")
    assert missing(connection) == ["registry_reading_kept_update"]


def test_lifted_puts_them_back() -> None:
    with lifted(connection):
        assert len(missing(connection)) >= 2 * len(KEPT)
    assert missing(connection) == []


def test_what_is_there_unchanged_is_left_alone() -> None:
    with CaptureQueriesContext(connection) as asked:
        assert install(connection) == []
        chart_notices.install(connection)
    said = " ".join(query["sql"] for query in asked)
    assert "CREATE TRIGGER" not in said and "DROP TRIGGER" not in said


def test_one_that_says_something_else_is_made_anew() -> None:
    name = "registry_reading_kept_update"
    with connection.cursor() as cursor:
        drop(connection, cursor, name, "registry_reading")
        cursor.execute(
            f"CREATE TRIGGER {name} BEFORE UPDATE ON registry_reading FOR EACH ROW WHEN (false) "
            "EXECUTE FUNCTION registry_reading_kept()"
            if connection.vendor == "postgresql"
            else f"CREATE TRIGGER {name} BEFORE UPDATE ON registry_reading WHEN 0 BEGIN SELECT 1; END"
        )
    assert missing(connection) == []
    assert unlike(connection) == [name]
    assert install(connection) == [name]
    assert install(connection) == []
    assert unlike(connection) == []


def test_the_audit_names_a_trigger_that_says_something_else(capsys: pytest.CaptureFixture[str]) -> None:
    from registry.commands.audit import _verify_registry

    assert _verify_registry() == 0
    name, table = "registry_reading_kept_delete", "registry_reading"
    with connection.cursor() as cursor:
        drop(connection, cursor, name, table)
        cursor.execute(
            f"CREATE TRIGGER {name} AFTER DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_kept()"
            if connection.vendor == "postgresql"
            else f"CREATE TRIGGER {name} BEFORE DELETE ON {table} WHEN 0 BEGIN SELECT 1; END"
        )
    assert _verify_registry() == 1
    assert f"{name} is not what it should be" in capsys.readouterr().err


@postgresql
def test_a_function_that_lets_everything_pass_is_named() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE OR REPLACE FUNCTION registry_reading_kept() RETURNS trigger LANGUAGE plpgsql "
            "AS $$ BEGIN RETURN NEW; END $$"
        )
    assert unlike(connection) == ["registry_reading_kept()"]
    install(connection)
    assert unlike(connection) == []


@postgresql
def test_one_that_is_switched_off_is_made_anew() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE registry_reading DISABLE TRIGGER registry_reading_kept_delete")
    assert install(connection) == ["registry_reading_kept_delete"]


@postgresql
def test_a_changed_mark_alone_makes_it_anew() -> None:
    with connection.cursor() as cursor:
        cursor.execute("COMMENT ON TRIGGER registry_reading_kept_delete ON registry_reading IS 'another'")
    assert install(connection) == ["registry_reading_kept_delete"]


@pytest.mark.parametrize("state", ["published", "withdrawn", "held"])
@pytest.mark.parametrize(
    "change",
    [{"content": b"{}"}, {"digest": "f" * 64}, {"inputs": {"sheets": [1]}}, {"number": 9},
     {"content_sha256": "0" * 64}, {"evidence": "1"}],
    ids=lambda change: next(iter(change)),
)  # fmt: skip
def test_revision_is_never_rewritten(design: Design, state: str, change: dict[str, Any]) -> None:
    revision = made_revision(design, state=state)
    refused(lambda: ChartRevision.objects.filter(pk=revision.pk).update(**change))
    revision.refresh_from_db()
    assert bytes(revision.content) != b"{}"


def test_revision_cannot_go_to_another_design_or_time(design: Design) -> None:
    revision = made_revision(design)
    other = made_design(made_user("another"), "Another selector")
    refused(lambda: ChartRevision.objects.filter(pk=revision.pk).update(design=other))
    refused(lambda: ChartRevision.objects.filter(pk=revision.pk).update(published_at=timezone.now()))


def test_published_revision_is_never_deleted_and_a_held_one_can_be(design: Design) -> None:
    published = made_revision(design)
    refused(lambda: ChartRevision.objects.filter(pk=published.pk)._raw_delete("default"))
    held = made_revision(design, 2, state="held")
    assert ChartRevision.objects.filter(pk=held.pk)._raw_delete("default") == 1


def test_revision_is_published_and_withdrawn(design: Design) -> None:
    revision = made_revision(design, state="held")
    revision.state, revision.published_at = "published", timezone.now()
    revision.save()
    revision.state, revision.withdrawn_at, revision.withdrawn_reason = (
        "withdrawn",
        timezone.now(),
        "wrong",
    )
    revision.save()
    assert ChartRevision.objects.get(pk=revision.pk).withdrawn_reason == "wrong"


def test_typed_readings_stay(design: Design) -> None:
    sheet = sheet_submit(by=made_user(), body=sheet_body(design))
    readings = Reading.objects.filter(version__sheet=sheet)
    refused(lambda: readings.update(as_typed="0.5"))
    refused(lambda: readings.filter(pk=readings[0].pk)._raw_delete("default"))
    versions = SheetVersion.objects.filter(sheet=sheet)
    refused(lambda: versions.update(held_good="new"))
    refused(lambda: versions.update(note="another note"))
    refused(lambda: versions._raw_delete("default"))


def test_a_sheet_is_amended_and_its_account_erased_all_the_same(design: Design) -> None:
    reader = made_user()
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    sheet_amend(by=reader, sheet=sheet, on_version=1, body=sheet_body(design, held_good="new"), reason="typo")
    account_erase(by=reader)
    first, second = SheetVersion.objects.filter(sheet=sheet).order_by("number")
    assert (first.is_current, first.made_by, second.is_current, second.made_by) == (False, None, True, None)


def test_audit_log_is_append_only() -> None:
    entry = record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=3)
    entries = AuditEntry.objects.filter(pk=entry.pk)
    refused(lambda: entries.update(action="export"))
    refused(lambda: entries._raw_delete("default"))
    chain_seal()
    refused(lambda: entries.update(hash="0" * 64))
    refused(lambda: entries.update(number=77))


@postgresql
def test_truncate_is_refused() -> None:
    def truncate() -> None:
        with connection.cursor() as cursor:
            cursor.execute("TRUNCATE registry_auditentry")

    refused(truncate)


sqlite = pytest.mark.skipif(connection.vendor != "sqlite", reason="OR REPLACE is SQLite's")


@sqlite
@pytest.mark.parametrize("kept", KEPT, ids=lambda kept: str(kept.table))
def test_all_that_is_unique_is_looked_after(kept: Kept) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA index_list({kept.table})")
        unique = [name for _seq, name, is_unique, *_more in cursor.fetchall() if is_unique]
        there = set()
        for name in unique:
            cursor.execute(f"PRAGMA index_info({name})")
            there.add(frozenset(column for _seq, _cid, column in cursor.fetchall()))
    assert {frozenset(columns) for columns in kept.keys} == there


@sqlite
def test_nothing_is_replaced_by_another_row(design: Design) -> None:
    sheet = sheet_submit(by=made_user(), body=sheet_body(design))
    made_revision(design, state="published")
    record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=3)
    chain_seal()
    for model in (Reading, SheetVersion, ChartRevision, AuditEntry):
        for key in _keys_of(model):
            before = list(model._base_manager.order_by("pk").values())
            refused(lambda model=model, key=key: _replace(model, key))
            assert list(model._base_manager.order_by("pk").values()) == before
    assert sheet.versions.count() == 1


def _keys_of(model: Any) -> list[tuple[str, ...]]:
    kept = next(kept for kept in KEPT if kept.table == model._meta.db_table)
    return [("id",), *kept.keys]


def _replace(model: Any, key: tuple[str, ...]) -> None:
    """A row like the first one that is alike in this key alone."""
    table, first = model._meta.db_table, model._base_manager.order_by("pk").first()
    other = {"id": "1000000", "uuid": f"'{'f' * 32}'", "number": "77", "sweep": "77", "is_current": "0"}
    other |= {"place_id": "place_id", "version_id": "version_id"}
    if key == ("sheet_id",):
        other["is_current"] = "1"
    columns = [field.column for field in model._meta.local_concrete_fields]
    values = [column if column in key else other.get(column, column) for column in columns]
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT OR REPLACE INTO {table} ({', '.join(columns)}) "
            f"SELECT {', '.join(values)} FROM {table} WHERE id = {first.pk}"
        )


@sqlite
def test_no_row_comes_to_stand_in_another_ones_place(design: Design) -> None:
    reader = made_user()
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    sheet_amend(by=reader, sheet=sheet, on_version=1, body=sheet_body(design, held_good="new"), reason="typo")
    record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=3)
    chain_seal()
    record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=4)

    def moved(statement: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement)

    refused(lambda: moved("UPDATE OR REPLACE registry_sheetversion SET is_current = 1"))
    refused(lambda: moved("UPDATE OR REPLACE registry_auditentry SET number = 1 WHERE hash = ''"))
    assert sheet.versions.count() == 2
