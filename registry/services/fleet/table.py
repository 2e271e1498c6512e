"""Vehicles and distances from CSV or XLSX: columns mapped by their heads, looked at, then stored at once."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db import transaction

from registry.errors import RegistryError, RegistryErrors
from registry.formats.labels import loose_key
from registry.formats.matrix_table import Limits, read_cells
from registry.models import Organisation, User
from registry.permissions import require
from registry.services.fleet.vehicles import vehicle_add
from registry.translation import gettext as _

LIMITS = Limits(bytes=4_000_000, unpacked=40_000_000, rows=5001, columns=40, longest=300, days=True)
MOST_ERRORS = 100
# the column's name in a body, and the heads by which it is known; others can be mapped by hand
HEADS: dict[str, tuple[str, ...]] = {
    "label": ("label", "vehicle", "fleet number", "fleet no", "number"),
    "family": ("family", "gearbox", "gearbox family"),
    "design": ("design", "switch", "switch design", "part number"),
    "km": ("km", "distance", "counter", "odometer"),
    "read_on": ("read_on", "read on", "date", "day"),
    "fitted_km": ("fitted_km", "fitted at", "fitted at km"),
    "fitted_on": ("fitted_on", "fitted on"),
    "unit_km": ("unit_km", "km on unit", "distance on unit"),
}


@dataclass(frozen=True)
class Look:
    """What a file would do: bodies by row (2: the first below the heads), what is wrong, what is unused."""

    mapping: dict[str, int]  # field → column, from 0
    heads: list[str]
    rows: list[tuple[int, dict[str, str]]]
    errors: list[RegistryError] = field(default_factory=list)
    unused: list[str] = field(default_factory=list)


def vehicles_look(
    *, by: User, organisation: Organisation, data: bytes, mapping: dict[str, int] | None = None
) -> Look:
    """Read a file and try it: each row is stored and taken back, so that all faults are known at once."""
    require(by, "work_fleet", organisation)
    look = _read(data, mapping)
    with transaction.atomic():
        _store(by, organisation, look)
        transaction.set_rollback(True)
    return look


@transaction.atomic
def vehicles_import(
    *, by: User, organisation: Organisation, data: bytes, mapping: dict[str, int] | None = None
) -> int:
    """Store every row, or none: RegistryErrors with the row and column of each fault.  The same file again
    changes nothing."""
    require(by, "work_fleet", organisation)
    look = _read(data, mapping)
    _store(by, organisation, look)
    if look.errors:
        raise RegistryErrors(look.errors[:MOST_ERRORS], more=max(0, len(look.errors) - MOST_ERRORS))
    return len(look.rows)


def _read(data: bytes, mapping: dict[str, int] | None) -> Look:
    cells = read_cells(data, LIMITS)
    heads = cells[0]
    mapping = _by_heads(heads) if mapping is None else mapping
    if "label" not in mapping:
        raise RegistryErrors(
            [
                RegistryError(
                    "column_missing",
                    _("No column names the vehicle."),
                    _("Say which one does, or call it “label”."),
                    field="/file",
                    line=1,
                )
            ]
        )
    used = {name: column for name, column in mapping.items() if name in HEADS and 0 <= column < len(heads)}
    rows = [
        (n, {name: row[column] for name, column in used.items() if row[column]})
        for n, row in enumerate(cells[1:], start=2)
        if any(row)
    ]
    unused = [head for at, head in enumerate(heads) if at not in used.values() and head]
    return Look(used, heads, rows, unused=unused)


def _by_heads(heads: list[str]) -> dict[str, int]:
    known = {head: name for name, words in HEADS.items() for head in words}
    found: dict[str, int] = {}
    for at, head in enumerate(heads):
        name = known.get(loose_key(head))
        if name is not None:
            found.setdefault(name, at)
    return found


def _store(by: User, organisation: Organisation, look: Look) -> None:
    for line, body in look.rows:
        try:
            with transaction.atomic():
                vehicle_add(by=by, organisation=organisation, body=body)
        except RegistryErrors as errors:
            for error in errors:
                column = look.mapping.get(error.field.lstrip("/"))
                name = None if column is None else look.heads[column] or str(column + 1)
                look.errors.append(error.at(field="/file", line=line, column=name))
