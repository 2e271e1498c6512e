"""Where the keys of new rows go on: behind every key that was ever given, though its row is gone.

A key that came back would open to a newcomer what was signed, mailed or linked for somebody who was erased.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from django.db import connections, models

Models = Iterable[type[models.Model]]


def last_keys(alias: str, of: Models) -> dict[str, int]:
    """The last key that was given, by table; tables whose keys nobody counts are left out."""
    counted = _counted(of)
    with connections[alias].cursor() as cursor:
        if connections[alias].vendor == "sqlite":
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
            given = dict(cursor.fetchall())
            return {table: int(given.get(table) or 0) for table in counted}
        found: dict[str, int] = {}
        for table, sequence in _sequences(alias, counted):
            cursor.execute(f"SELECT last_value, is_called FROM {sequence}")  # noqa: S608  our own names
            value, called = cursor.fetchone()
            found[table] = value if called else 0
    return found


def keys_go_on(alias: str, given: Mapping[str, int], of: Models) -> None:
    """The next key of each table comes after the one that was given last, and after those that are there."""
    counted = _counted(of)
    last = {table: max(given.get(table, 0), _newest(model, alias)) for table, model in counted.items()}
    with connections[alias].cursor() as cursor:
        if connections[alias].vendor == "sqlite":
            cursor.execute("DELETE FROM sqlite_sequence")
            insert = "INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)"
            cursor.executemany(insert, [(table, key) for table, key in last.items() if key])
            return
        for table, sequence in _sequences(alias, counted):
            cursor.execute("SELECT setval(%s, %s, %s)", [sequence, max(last[table], 1), last[table] > 0])


def _counted(of: Models) -> dict[str, type[models.Model]]:
    return {model._meta.db_table: model for model in of if isinstance(model._meta.pk, models.AutoField)}


def _newest(model: type[models.Model], alias: str) -> int:
    return int(model._base_manager.using(alias).aggregate(newest=models.Max("pk"))["newest"] or 0)


def _sequences(alias: str, counted: Mapping[str, type[models.Model]]) -> Iterator[tuple[str, str]]:
    """A table and what counts its keys on PostgreSQL, quoted as in a statement."""
    connection = connections[alias]
    with connection.cursor() as cursor:
        for table, model in counted.items():
            key = model._meta.pk
            assert key is not None
            named = [connection.ops.quote_name(table), key.column]
            cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", named)
            yield table, cursor.fetchone()[0]
