"""Readings by the hundred thousand: rows straight into their table, without an object for each.

What stands in a row has been checked before; the table's own constraints hold as for any other row.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.db import connection, transaction

from registry.models import Reading

FIELDS = (
    "version",
    "place",
    "sweep",
    "turned",
    "as_typed",
    "kind",
    "low_ohm",
    "high_ohm",
    "limit_ohm",
    "lead_ohm",
    "first_pass",
)
ReadingRow = tuple[
    int, int, int, bool, str, str, float | None, float | None, float, float, bool
]  # in the order of FIELDS; version and place by id


@transaction.atomic
def readings_write(rows: Iterable[ReadingRow]) -> None:
    """All of the rows or none; IntegrityError where one breaks a constraint."""
    quote = connection.ops.quote_name
    table = quote(Reading._meta.db_table)
    fields = {field.name: str(field.column) for field in Reading._meta.concrete_fields}
    columns = ", ".join(quote(fields[name]) for name in FIELDS)
    with connection.cursor() as cursor, connection.wrap_database_errors:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(FIELDS))
            insert = f"INSERT INTO {table} ({columns}) VALUES ({marks})"  # noqa: S608  our own names
            cursor.executemany(insert, rows)  # type: ignore[arg-type]  # it takes any iterable
