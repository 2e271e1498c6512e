"""PostgreSQL tells who listens which design's chart has changed: by triggers, whoever changed it.

A notice goes out when the change is committed, and to all servers.  SQLite has no such thing, and needs none.
"""

from __future__ import annotations

from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.triggers import Trigger, put

CHANNEL = "benchquorum_charts"  # of this database only; the payload is a design's row, or empty for all
TABLES = ("registry_currentchart", "registry_chartrevision")
FUNCTION = "benchquorum_chart_notice"

_KINDS = (("row", "INSERT OR UPDATE OR DELETE", "ROW"), ("all", "TRUNCATE", "STATEMENT"))
_BODY = f"""
BEGIN
    IF TG_OP = 'TRUNCATE' THEN PERFORM pg_notify('{CHANNEL}', ''); RETURN NULL; END IF;
    IF TG_OP <> 'INSERT' THEN PERFORM pg_notify('{CHANNEL}', OLD.design_id::text); END IF;
    IF TG_OP <> 'DELETE' THEN PERFORM pg_notify('{CHANNEL}', NEW.design_id::text); END IF;
    RETURN NULL;
END
"""

IN_PLACE = "SELECT count(*) FROM pg_trigger WHERE tgname LIKE '%\\_chart\\_notice\\_%' AND tgenabled <> 'D'"
TRIGGERS = 2 * len(TABLES)


def install(connection: BaseDatabaseWrapper) -> None:
    """Make what is missing or changed of the triggers, where the tables are there."""
    if connection.vendor != "postgresql":
        return
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        if not set(TABLES) <= set(connection.introspection.table_names(cursor)):
            return
        cursor.execute(
            f"CREATE OR REPLACE FUNCTION {FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$ {_BODY} $$"
        )
        put(connection, cursor, [_trigger(table, *kind) for table in TABLES for kind in _KINDS])


def _trigger(table: str, name: str, when: str, each: str) -> Trigger:
    full = f"{table}_chart_notice_{name}"
    return Trigger(
        full,
        table,
        f"CREATE TRIGGER {full} AFTER {when} ON {table} FOR EACH {each} EXECUTE FUNCTION {FUNCTION}()",
    )
