"""What a file says of its sheets, and what the registry holds of them, in one form to compare."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from registry.formats.tidy_table import TidyTable
from registry.models import Reading, Sheet, SheetVersion

RowSet = frozenset[tuple[Any, ...]]


def table_rows(table: TidyTable, *, only: Iterable[tuple[str, str]]) -> dict[tuple[str, str], RowSet]:
    """(contributor, submission) → what its rows say, in labels; for the submissions named in `only`.

    Where the keys of `only` name no contributor, one account owns all sheets of the table.
    """
    wanted = set(only)
    one_owner = all(contributor == "" for contributor, _name in wanted)
    keys: list[tuple[str, str] | None] = []
    for sheet in table.sheets:
        named = ("" if one_owner else sheet.contributor, sheet.name)
        keys.append(named if named in wanted else None)
    rows: dict[tuple[str, str], set[tuple[Any, ...]]] = {key: set() for key in keys if key is not None}
    for n, index in enumerate(table.sheet.tolist()):
        key = keys[index]
        if key is not None:
            rows[key].add(_file_row(table, n))
    for index, sheet in enumerate(table.sheets):
        key = keys[index]
        if key is not None:
            rows[key].add((table.designs[sheet.design], sheet.unit, sheet.source_class, sheet.held_good))
    return {key: frozenset(values) for key, values in rows.items()}


def _file_row(table: TidyTable, n: int) -> tuple[Any, ...]:
    return (
        int(table.step[n]),
        bool(table.between[n]),
        table.labels[table.pin[n]],
        table.labels[table.against[n]],
        int(table.sweep[n]),
        table.typed[table.reading[n]],
        float(table.limit[n]),
        float(table.lead[n]),
    )


def stored_rows(sheets: list[Sheet], *, one_owner: bool) -> dict[tuple[str, str], list[RowSet]]:
    """(contributor, submission) → what each stored version says, in the form of `table_rows`."""
    found: dict[tuple[str, str], list[RowSet]] = {}
    for start in range(0, len(sheets), 200):
        part = {sheet.pk: sheet for sheet in sheets[start : start + 200]}
        versions = SheetVersion.objects.filter(sheet__in=part).select_related("sheet__unit")
        rows: dict[int, set[tuple[Any, ...]]] = defaultdict(set)
        readings = Reading.objects.filter(version__sheet__in=part).values_list(
            "version_id",
            "turned",
            "place__position__step",
            "place__between",
            "place__pin_a__label",
            "place__pin_b__label",
            "sweep",
            "as_typed",
            "limit_ohm",
            "lead_ohm",
        )
        for version_id, turned, step, between, pin_a, pin_b, *rest in readings:
            pins = (pin_b, pin_a) if turned else (pin_a, pin_b)
            rows[version_id].add((step, between, *pins, *rest))
        for version in versions:
            sheet = part[version.sheet_id]
            rows[version.pk].add(
                (sheet.design.name, version.sheet.unit.key, version.source_class, version.held_good)
            )
            owner = "" if one_owner else sheet.contributor.import_name or ""
            found.setdefault((owner, sheet.name), []).append(frozenset(rows[version.pk]))
    return found
