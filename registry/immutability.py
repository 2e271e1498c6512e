"""What has been published or typed stays as it is: held by triggers of the database, not by our code alone.

Looked after on every `migrate`, for a rebuilt table on SQLite loses its triggers without a word;
`benchquorum audit` says if one is missing.  `lifted` is for a migration that must rewrite kept rows, and for
tests that empty their tables.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.triggers import Trigger, drop, names_there, put


@dataclass(frozen=True)
class Kept:
    """Columns of a table that never change; emptied: those that may change to this value only (an erasure).

    once: those that may be set while the condition on the OLD row holds; deletable: rows that may go.
    """

    table: str
    says: str
    columns: tuple[str, ...]
    emptied: dict[str, str] = field(default_factory=dict)
    once: dict[str, str] = field(default_factory=dict)
    deletable: str = ""


KEPT = (
    Kept(
        "registry_chartrevision",
        "a chart revision is never rewritten, and never deleted once published",
        ("id", "uuid", "origin", "created_at", "design_id", "number", "digest", "evidence", "content",
         "content_sha256", "inputs", "snapshot_id"),
        once={"published_at": "OLD.published_at IS NULL"},
        deletable="OLD.state IN ('held', 'refused')",
    ),
    Kept(
        "registry_reliabilitysnapshot",
        "a reliability snapshot is never rewritten or deleted",
        ("id", "uuid", "origin", "created_at", "number", "engine", "digest", "content"),
    ),
    Kept(
        "registry_sheetversion",
        "a version of a sheet is never rewritten or deleted",
        ("id", "sheet_id", "number", "created_at", "pattern_shown", "purpose", "held_good",
         "source_class", "read_at", "read_on", "distance_km", "units_claimed", "digest"),
        emptied={"made_by_id": "NULL", "meter_id": "NULL", "note": "''", "reason": "''"},
    ),
    Kept(
        "registry_reading",
        "a reading is never rewritten or deleted",
        ("id", "version_id", "place_id", "sweep", "turned", "as_typed", "kind", "low_ohm", "high_ohm",
         "limit_ohm", "lead_ohm", "first_pass"),
    ),
    Kept(
        "registry_jobevent",
        "an event of a job is never rewritten or deleted",
        ("id", "job_id", "number", "step", "act", "data", "corrects_id", "created_at"),
        emptied={"made_by_id": "NULL", "private": "'{}'"},
    ),
    Kept(
        "registry_jobcheck",
        "the verdict of a check is never rewritten or deleted",
        ("id", "job_sheet_id", "revision_id", "verdict", "p_good", "result", "created_at"),
    ),
    Kept(
        "registry_auditentry",
        "the audit log is append-only",
        ("id", "at", "actor_uuid", "action", "target_kind", "target_uuid", "detail", "salt"),
        once=dict.fromkeys(("number", "previous", "hash"), "OLD.hash = ''"),
    ),
)  # fmt: skip


def install(connection: BaseDatabaseWrapper) -> list[str]:
    """Make what is missing or changed of the triggers of every table that is there with all its columns.

    Returns the names of what was made.
    """
    made: list[str] = []
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    for kept in KEPT:
        if kept.table not in tables:
            continue
        # One transaction a table: who holds one and waits for the next may meet a submission that does so.
        with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
            described = connection.introspection.get_table_description(cursor, kept.table)
            there = {column.name for column in described}
            if there.issuperset([*kept.columns, *kept.emptied, *kept.once]):
                if connection.vendor == "postgresql":
                    cursor.execute(_function(kept))
                made += put(connection, cursor, _triggers(connection.vendor, kept))
    return made


def remove(connection: BaseDatabaseWrapper) -> None:
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
        for kept in KEPT:
            if kept.table in tables:
                for name in _names(connection.vendor, kept):
                    drop(connection, cursor, name, kept.table)


@contextmanager
def lifted(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """Without the triggers for a moment."""
    remove(connection)
    try:
        yield
    finally:
        install(connection)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the triggers that ought to be there and are not, or are switched off."""
    there = names_there(connection)
    wanted = [name for kept in KEPT for name in _names(connection.vendor, kept)]
    return [name for name in wanted if name not in there]


def _names(vendor: str, kept: Kept) -> list[str]:
    events = ("update", "delete", "truncate") if vendor == "postgresql" else ("update", "delete")
    return [f"{kept.table}_kept_{event}" for event in events]


def _changed(kept: Kept, differs: str) -> str:
    """When an update is refused; differs: the vendor's word for “unlike”, NULL being a value."""
    refused = [f"NEW.{name} {differs} OLD.{name}" for name in kept.columns]
    refused += [
        f"(NEW.{name} {differs} OLD.{name} AND NEW.{name} {differs} {value})"
        for name, value in kept.emptied.items()
    ]
    refused += [
        f"(NEW.{name} {differs} OLD.{name} AND NOT ({condition}))" for name, condition in kept.once.items()
    ]
    return " OR ".join(refused)


def _triggers(vendor: str, kept: Kept) -> list[Trigger]:
    statements = _postgresql(kept) if vendor == "postgresql" else _sqlite(kept)
    names = _names(vendor, kept)
    return [Trigger(name, kept.table, text) for name, text in zip(names, statements, strict=True)]


def _sqlite(kept: Kept) -> list[str]:
    update, delete = _names("sqlite", kept)
    refuse = f"BEGIN SELECT RAISE(ABORT, '{kept.says}'); END"
    stays = f"NOT ({kept.deletable})" if kept.deletable else "1"
    return [
        f"CREATE TRIGGER {update} BEFORE UPDATE ON {kept.table} WHEN {_changed(kept, 'IS NOT')} {refuse}",
        f"CREATE TRIGGER {delete} BEFORE DELETE ON {kept.table} WHEN {stays} {refuse}",
    ]


def _function(kept: Kept) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION {kept.table}_kept() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN RAISE EXCEPTION '{kept.says}' USING ERRCODE = 'restrict_violation'; END $$"
    )


def _postgresql(kept: Kept) -> list[str]:
    update, delete, truncate = _names("postgresql", kept)
    function = f"{kept.table}_kept"
    stays = f"NOT ({kept.deletable})" if kept.deletable else "true"
    changed = _changed(kept, "IS DISTINCT FROM")
    return [
        f"CREATE TRIGGER {update} BEFORE UPDATE ON {kept.table} FOR EACH ROW WHEN ({changed}) "
        f"EXECUTE FUNCTION {function}()",
        f"CREATE TRIGGER {delete} BEFORE DELETE ON {kept.table} FOR EACH ROW WHEN ({stays}) "
        f"EXECUTE FUNCTION {function}()",
        f"CREATE TRIGGER {truncate} BEFORE TRUNCATE ON {kept.table} FOR EACH STATEMENT "
        f"EXECUTE FUNCTION {function}()",
    ]
