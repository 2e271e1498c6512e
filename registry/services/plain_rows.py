"""Rows straight into their table, without an object for each: by the hundred thousand, or a few very often.

What stands in a row has been checked before; the table's own constraints hold as for any other row.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection, transaction
from django.db.models import Model


@transaction.atomic(savepoint=False)
def rows_write(model: type[Model], names: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> None:
    """All of the rows or none; IntegrityError where one breaks a constraint: the deed around ends with it.

    names: of all the model's fields but the key, in the order of each row.
    """
    quote = connection.ops.quote_name
    table = quote(model._meta.db_table)
    fields = {field.name: str(field.column) for field in model._meta.concrete_fields}
    columns = ", ".join(quote(fields[name]) for name in names)
    with connection.cursor() as cursor, connection.wrap_database_errors:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(names))
            insert = f"INSERT INTO {table} ({columns}) VALUES ({marks})"  # noqa: S608  our own names
            cursor.executemany(insert, rows)  # type: ignore[arg-type]  # it takes any iterable
