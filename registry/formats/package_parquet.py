"""Tables of a package as Parquet, where the optional extra is installed: `benchquorum[parquet]`."""

from __future__ import annotations

import io
from collections.abc import Iterable
from importlib import import_module
from typing import Any

from registry.errors import RegistryError
from registry.formats.package_cells import cell_text
from registry.formats.package_columns import Table
from registry.translation import gettext as _


def parquet_require() -> tuple[Any, Any]:
    """The library, or a RegistryError that says how to get it."""
    try:
        arrow, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    except (ImportError, OSError):
        raise RegistryError(
            "parquet_missing",
            _("Parquet needs a library that is not installed here."),
            _("Install it with “pip install 'benchquorum[parquet]'”, or leave --parquet away."),
        ) from None
    return arrow, parquet


def parquet_is_there() -> bool:
    try:
        parquet_require()
    except RegistryError:
        return False
    return True


def parquet_bytes(table: Table, rows: Iterable[tuple[Any, ...]]) -> bytes:
    """Columns of their own types; lists and objects as JSON text.  The same rows give the same bytes."""
    arrow, parquet = parquet_require()
    types = {
        "integer": arrow.int64(),
        "number": arrow.float64(),
        "boolean": arrow.bool_(),
        "date": arrow.date32(),
        "datetime": arrow.timestamp("us", tz="UTC"),
    }
    columns: list[list[Any]] = [[] for _column in table.columns]
    for row in rows:
        for values, value, column in zip(columns, row, table.columns, strict=True):
            as_text = value is not None and column.kind in ("array", "object")
            values.append(cell_text(value, column.kind) if as_text else value)
    made = arrow.table(
        {
            column.name: arrow.array(values, type=types.get(column.kind, arrow.string()))
            for column, values in zip(table.columns, columns, strict=True)
        }
    )
    out = io.BytesIO()
    parquet.write_table(made, out, compression="zstd")
    return out.getvalue()
