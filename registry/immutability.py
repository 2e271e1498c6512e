"""What has been published or typed stays as it is: held by triggers of the database, not by our code alone.

Looked after on every `migrate`, for a rebuilt table on SQLite loses its triggers without a word;
`benchquorum audit` says if one is missing, or is another.  `lifted` is for a migration that must rewrite kept
rows, and for tests that empty their tables.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.triggers import Trigger, drop, function_bodies, names_there, put, unlike_ours


@dataclass(frozen=True)
class Kept:
    """Columns of a table that never change; emptied: those that may change to this value only (an erasure).

    once: those that may be set while the condition on the OLD row holds; deletable: rows that may go.
    keys: what is unique besides the id, each with the column that must be true for it, or "".  SQLite's OR
    REPLACE deletes whoever stands in the way, and no trigger hears of it: so nobody may come to stand there.
    """

    table: str
    says: str
    columns: tuple[str, ...]
    emptied: dict[str, str] = field(default_factory=dict)
    once: dict[str, str] = field(default_factory=dict)
    deletable: str = ""
    keys: dict[tuple[str, ...], str] = field(default_factory=dict)


KEPT = (
    Kept(
        "registry_chartrevision",
        "a chart revision is never rewritten, and never deleted once published",
        ("id", "uuid", "origin", "created_at", "design_id", "number", "digest", "evidence", "content",
         "content_sha256", "inputs", "snapshot_id"),
        once={"published_at": "OLD.published_at IS NULL"},
        deletable="OLD.state IN ('held', 'refused')",
        keys={("uuid",): "", ("design_id", "number"): ""},
    ),
    Kept(
        "registry_reliabilitysnapshot",
        "a reliability snapshot is never rewritten or deleted",
        ("id", "uuid", "origin", "created_at", "number", "engine", "digest", "content"),
        keys={("uuid",): "", ("number",): ""},
    ),
    Kept(
        "registry_sheetversion",
        "a version of a sheet is never rewritten or deleted",
        ("id", "sheet_id", "number", "created_at", "pattern_shown", "purpose", "held_good",
         "source_class", "read_at", "read_on", "distance_km", "units_claimed", "digest"),
        emptied={"made_by_id": "NULL", "meter_id": "NULL", "note": "''", "reason": "''"},
        keys={("sheet_id", "number"): "", ("sheet_id",): "is_current"},
    ),
    Kept(
        "registry_reading",
        "a reading is never rewritten or deleted",
        ("id", "version_id", "place_id", "sweep", "turned", "as_typed", "kind", "low_ohm", "high_ohm",
         "limit_ohm", "lead_ohm", "first_pass"),
        keys={("version_id", "place_id", "sweep"): ""},
    ),
    Kept(
        "registry_jobevent",
        "an event of a job is never rewritten or deleted",
        ("id", "job_id", "number", "step", "act", "data", "corrects_id", "created_at"),
        emptied={"made_by_id": "NULL", "private": "'{}'"},
        keys={("job_id", "number"): ""},
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
        keys={("number",): ""},
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


def unlike(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of triggers that are there, but not as we make them, and of functions that do other things."""
    found = unlike_ours(connection, [one for kept in KEPT for one in _triggers(connection.vendor, kept)])
    if connection.vendor == "postgresql":
        bodies = function_bodies(connection)
        found += [f"{kept.table}_kept()" for kept in KEPT if _says_other(kept, bodies)]
    return found


def _says_other(kept: Kept, bodies: dict[str, list[str]]) -> bool:
    return any(body != _body(kept) for body in bodies.get(f"{kept.table}_kept", []))


def _names(vendor: str, kept: Kept) -> list[str]:
    events = ("update", "delete", "truncate" if vendor == "postgresql" else "insert")
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
    update, delete, insert = _names("sqlite", kept)
    refuse = f"BEGIN SELECT RAISE(ABORT, '{kept.says}'); END"
    stays = f"NOT ({kept.deletable})" if kept.deletable else "1"
    changed = _changed(kept, "IS NOT") + _moved(kept)
    return [
        f"CREATE TRIGGER {update} BEFORE UPDATE ON {kept.table} WHEN {changed} {refuse}",
        f"CREATE TRIGGER {delete} BEFORE DELETE ON {kept.table} WHEN {stays} {refuse}",
        f"CREATE TRIGGER {insert} BEFORE INSERT ON {kept.table} WHEN {_in_the_way(kept)} {refuse}",
    ]


def _in_the_way(kept: Kept) -> str:
    """When a new row would meet one that is there, by its id or by anything else that is unique."""
    keys = {("id",): "", **kept.keys}
    return " OR ".join(_met(kept.table, columns, if_true) for columns, if_true in keys.items())


def _moved(kept: Kept) -> str:
    """When a row comes to stand where another is, by a column that may change."""
    return "".join(
        f" OR {_met(kept.table, columns, if_true, besides_itself=True)}"
        for columns, if_true in kept.keys.items()
        if not {*columns, if_true} - {""} <= set(kept.columns)
    )


def _met(table: str, columns: tuple[str, ...], if_true: str, *, besides_itself: bool = False) -> str:
    same = [f"{column} = NEW.{column}" for column in columns]
    same += [if_true] if if_true else []
    same += ["id <> OLD.id"] if besides_itself else []
    met = f"EXISTS (SELECT 1 FROM {table} WHERE {' AND '.join(same)})"  # noqa: S608  our own names
    return f"(NEW.{if_true} AND {met})" if if_true else met


def _function(kept: Kept) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION {kept.table}_kept() RETURNS trigger LANGUAGE plpgsql "
        f"AS $${_body(kept)}$$"
    )


def _body(kept: Kept) -> str:
    return f" BEGIN RAISE EXCEPTION '{kept.says}' USING ERRCODE = 'restrict_violation'; END "


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
