"""What is published or typed can't be changed in the database, whoever asks."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry import chart_notices
from registry.immutability import KEPT, install, lifted, missing
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
    assert install(connection) == [name]
    assert install(connection) == []


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
