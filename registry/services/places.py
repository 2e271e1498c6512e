"""Places come into being when they are first read."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import connection

from registry.models import Place

PlaceKey = tuple[int, bool, int, int]  # position, between, lower pin, higher pin (ids)


def places_for(keys: Iterable[PlaceKey]) -> dict[PlaceKey, int]:
    """Ids of the places, made where missing; two people making the same one at once get the same."""
    wanted = set(keys)
    found = _known(wanted)
    missing = sorted(wanted - found.keys())
    if missing:
        _make(missing)
        found = _known(wanted)
    return found


def _make(missing: list[PlaceKey]) -> None:
    """Straight into the table, without an object for each; one that is made elsewhere meanwhile stays."""
    quote = connection.ops.quote_name
    columns = ", ".join(map(quote, ("position_id", "between", "pin_a_id", "pin_b_id")))
    insert = f"INSERT INTO {quote(Place._meta.db_table)} ({columns})"
    with connection.cursor() as cursor, connection.wrap_database_errors:
        if connection.vendor == "postgresql":
            rows = "SELECT * FROM unnest(%s::bigint[], %s::boolean[], %s::bigint[], %s::bigint[])"
            each = [list(column) for column in zip(*missing, strict=True)]
            cursor.execute(f"{insert} {rows} ON CONFLICT DO NOTHING", each)
        else:
            cursor.executemany(f"{insert} VALUES (%s, %s, %s, %s) ON CONFLICT DO NOTHING", missing)


def _known(wanted: set[PlaceKey]) -> dict[PlaceKey, int]:
    positions = sorted({key[0] for key in wanted})
    rows = Place.objects.filter(position_id__in=positions)
    return {
        (position, between, low, high): pk
        for pk, position, between, low, high in rows.values_list(
            "pk", "position_id", "between", "pin_a_id", "pin_b_id"
        )
        if (position, between, low, high) in wanted
    }
