"""The rows of a file, written in bulk."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from django.conf import settings

from registry.formats.reading import ReadingKind
from registry.formats.tidy_table import TidySheet, TidyTable
from registry.models import Change, Contributor, Sheet, SheetVersion, Unit, UnitMatch, User
from registry.services.changes import change_of_version, changes_store
from registry.services.imports.designs import DesignPlan
from registry.services.places import PlaceKey, places_for
from registry.services.reading_rows import ReadingRow, readings_write
from registry.services.sheet_versions import evidence_digest
from registry.translation import gettext as _

BATCH = 2000
NAMESPACE = uuid.UUID("5f4c6a0e-6b0b-4f0e-9a55-0f2f0b9f3c11")  # for ids made of an import's own names
KIND_NAMES = {int(kind): kind.name.lower() for kind in ReadingKind}


def write_sheets(
    table: TidyTable,
    wanted: list[int],
    designs: dict[str, DesignPlan],
    contributors: dict[str, Contributor],
    *,
    made_by: User | None,
    tell: Callable[[str, int, int], None],
) -> None:
    """Insert the wanted sheets with their units, versions and readings."""
    units = _units(table, wanted, designs, contributors)
    sheets: dict[int, Sheet] = {}
    for n in wanted:
        row = table.sheets[n]
        owner = contributors[row.contributor]
        client_id = uuid.uuid5(NAMESPACE, f"{owner.uuid}/{row.name}")
        sheets[n] = Sheet(
            design=designs[table.designs[row.design]].made,
            unit=units[_unit_key(table, row, contributors)],
            contributor=owner,
            name=row.name,
            client_id=client_id,
            body_digest="",
            licence=settings.BENCHQUORUM_DATA_LICENCE,
            measured_it_myself=True,
        )
    rows_of = _rows_by_sheet(table, wanted)
    versions = {n: _version(sheets[n], table, n, rows_of[n], made_by) for n in wanted}
    for n in wanted:
        sheets[n].body_digest = versions[n].digest
    Sheet.objects.bulk_create(sheets.values(), batch_size=BATCH)
    SheetVersion.objects.bulk_create(versions.values(), batch_size=BATCH)
    _write_readings(table, wanted, designs, versions, tell)
    changes_store(change_of_version(Change.Kind.SHEET_ADDED, versions[n]) for n in wanted)


def _rows_by_sheet(table: TidyTable, wanted: list[int]) -> dict[int, np.ndarray]:
    order = np.argsort(table.sheet, kind="stable")
    ordered = table.sheet[order]
    starts = np.searchsorted(ordered, wanted, side="left")
    ends = np.searchsorted(ordered, wanted, side="right")
    return {n: order[a:b] for n, a, b in zip(wanted, starts.tolist(), ends.tolist(), strict=True)}


def _version(sheet: Sheet, table: TidyTable, n: int, rows: np.ndarray, made_by: User | None) -> SheetVersion:
    row = table.sheets[n]
    suspect = row.held_good == SheetVersion.HeldGood.NO
    purpose = SheetVersion.Purpose.SUSPECT if suspect else SheetVersion.Purpose.KNOWN_GOOD
    labels, typed = table.labels, table.typed
    evidence = [
        (
            labels[position],
            between,
            labels[pin],
            labels[against],
            sweep,
            typed[reading],
            kind,
            None if low != low else low,
            None if high != high else high,
            limit,
            lead,
            True,
        )
        for position, between, pin, against, sweep, reading, kind, low, high, limit, lead in _taken(
            rows,
            table.position,
            table.between,
            table.pin,
            table.against,
            table.sweep,
            table.reading,
            *_figures(table),
        )
    ]
    read_at = SheetVersion.ReadAt.BENCH
    head = (str(sheet.uuid), str(purpose), row.held_good, row.source_class, str(read_at), 1)
    return SheetVersion(
        sheet=sheet,
        number=1,
        made_by=made_by,
        purpose=purpose,
        held_good=row.held_good,
        source_class=row.source_class,
        note="" if made_by is None else _("Contributor in the file: {name}").format(name=row.contributor),
        digest=evidence_digest(head, evidence),
    )


def _figures(table: TidyTable) -> tuple[np.ndarray, ...]:
    return table.kind, table.low, table.high, table.limit, table.lead


def _taken(rows: np.ndarray, *columns: np.ndarray) -> Iterator[tuple[Any, ...]]:
    """What the columns hold in these rows, row by row."""
    return zip(*(column[rows].tolist() for column in columns), strict=True)


UnitKey = tuple[int, int, str]  # contributor, design, the file's name


def _unit_key(table: TidyTable, row: TidySheet, contributors: dict[str, Contributor]) -> UnitKey:
    return contributors[row.contributor].pk, row.design, row.unit


def _units(
    table: TidyTable,
    wanted: list[int],
    designs: dict[str, DesignPlan],
    contributors: dict[str, Contributor],
) -> dict[UnitKey, Unit]:
    """Units by owner; in a file, design + unit is one switch, by both people's word."""
    keys = dict.fromkeys(_unit_key(table, table.sheets[n], contributors) for n in wanted)
    made = {index: designs[name].made for index, name in enumerate(table.designs)}
    stored: dict[UnitKey, Unit] = {}
    index_of = {design.pk: index for index, design in made.items()}
    for unit in Unit.objects.filter(design__in=list(index_of)):
        stored[unit.contributor_id, index_of[unit.design_id], unit.key] = unit
    new = {
        key: Unit(contributor_id=key[0], design=made[key[1]], key=key[2]) for key in keys if key not in stored
    }
    Unit.objects.bulk_create(new.values(), batch_size=BATCH)
    stored.update(new)
    owners = {contributor.pk for contributor in contributors.values()}
    _match_units(stored, {key[1:] for key in keys}, owners)
    return stored


def _match_units(units: dict[UnitKey, Unit], named: set[tuple[int, str]], owners: set[int]) -> None:
    """Both owners' words for each pair of units that the file names alike."""
    same: dict[tuple[int, str], list[Unit]] = defaultdict(list)
    for (owner, design, key), unit in sorted(units.items()):
        if (design, key) in named and owner in owners:
            same[design, key].append(unit)
    UnitMatch.objects.bulk_create(
        (
            UnitMatch(unit=first, same_as=other, said_by_id=speaker.contributor_id)
            for first, *others in same.values()
            for other in others
            for speaker in (first, other)
        ),
        batch_size=BATCH,
        ignore_conflicts=True,
    )


def _write_readings(
    table: TidyTable,
    wanted: list[int],
    designs: dict[str, DesignPlan],
    versions: dict[int, SheetVersion],
    tell: Callable[[str, int, int], None],
) -> None:
    chosen = np.flatnonzero(np.isin(table.sheet, wanted))
    positions = [designs[name].position_ids for name in table.designs]
    pins = [designs[name].pin_ids for name in table.designs]
    design_of = [sheet.design for sheet in table.sheets]
    keys: list[PlaceKey] = []
    turned: list[bool] = []
    columns = (table.sheet, table.position, table.between, table.pin, table.against)
    for sheet, position, between, pin, against in _taken(chosen, *columns):
        design = design_of[sheet]
        a, b = pins[design][table.labels[pin]], pins[design][table.labels[against]]
        keys.append((positions[design][table.labels[position]], between, min(a, b), max(a, b)))
        turned.append(a > b)
    places = places_for(set(keys))
    for start in range(0, len(chosen), 10 * BATCH):
        end = min(start + 10 * BATCH, len(chosen))
        readings_write(
            _readings(table, chosen[start:end], versions, places, keys[start:end], turned[start:end])
        )
        tell(_("readings"), end, len(chosen))


def _readings(
    table: TidyTable,
    rows: np.ndarray,
    versions: dict[int, SheetVersion],
    places: dict[PlaceKey, int],
    keys: list[PlaceKey],
    turned: list[bool],
) -> Iterator[ReadingRow]:
    taken = _taken(rows, table.sheet, table.sweep, table.reading, *_figures(table))
    for key, flip, (sheet, sweep, typed, kind, low, high, limit, lead) in zip(
        keys, turned, taken, strict=True
    ):
        yield (
            versions[sheet].pk,
            places[key],
            sweep,
            flip,
            table.typed[typed],
            KIND_NAMES[kind],
            None if low != low else low,
            None if high != high else high,
            limit,
            lead,
            True,
        )
