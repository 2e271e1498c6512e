"""Many bench sheets in one go: each is taken or refused by itself, those taken are stored together.

The rows are the same as `sheet_submit` makes, written in bulk; sent again after an interruption, the sheets
that are there already are known by their client ids.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeVar

from django.conf import settings
from django.db import IntegrityError, transaction

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.models import Contributor, Meter, PartNumber, Sheet, SheetVersion, Unit, User
from registry.permissions import require
from registry.selectors.catalogue_kept import KeptCatalogue
from registry.services.accounts import contributor_held
from registry.services.allowance import allowance_used, sheet_allowance
from registry.services.audit import record
from registry.services.meters import meter_of
from registry.services.places import places_for
from registry.services.reading_rows import readings_write
from registry.services.refreshes import queue_left_behind, queue_refreshes
from registry.services.sheet_body import MeterUsed, SheetBody, read_body
from registry.services.sheet_versions import rows_made, second_pass_add, version_made
from registry.services.sheets import (
    client_id_used,
    name_of,
    part_named,
    refuse_unmeasured,
    reread_of,
    sheet_name_used,
    unit_describe,
)
from registry.translation import gettext as _

MOST_SHEETS = 5000
CHUNK = 500
T = TypeVar("T")


@dataclass(frozen=True)
class Taken:
    """What became of one body: a sheet, new or known; or errors, whose fields begin at the body."""

    sheet: uuid.UUID | None = None
    new: bool = False
    errors: tuple[RegistryError, ...] = ()


def sheets_submit(*, by: User, bodies: Any) -> list[Taken]:
    """One answer for each body, in order; RegistryErrors where `bodies` is no list of a fair length."""
    require(by, "submit")
    read = _read_all(bodies_checked(bodies))
    try:
        return _taken(by, read)
    except IntegrityError:  # another call stored one of them, or its unit, meanwhile: now it is known
        return _taken(by, read)


@transaction.atomic
def _taken(by: User, read: Sequence[SheetBody | Taken]) -> list[Taken]:
    return _Batch(by, contributor_held(by)).take(read)


def bodies_checked(bodies: Any) -> list[Any]:
    """The bodies, if they are a list of a fair length."""
    if not isinstance(bodies, list) or not 1 <= len(bodies) <= MOST_SHEETS:
        raise refusal(
            "not_a_list",
            _("“submissions” is a list of bench sheets."),
            _("Send 1 to {n} at a time.").format(n=MOST_SHEETS),
            field="/submissions",
        )
    return bodies


def _read_all(bodies: list[Any]) -> list[SheetBody | Taken]:
    catalogue = KeptCatalogue()
    found: list[SheetBody | Taken] = []
    for body in bodies:
        try:
            sheet = read_body(body, catalogue=catalogue)
            refuse_unmeasured(sheet)
            found.append(sheet)
        except RegistryErrors as errors:
            found.append(Taken(errors=errors.errors))
    return found


class _Batch:
    """The sheets of one call; the contributor's row is held, so two calls of one person take turns."""

    def __init__(self, by: User, contributor: Contributor) -> None:
        self.by, self.contributor = by, contributor
        self.known: dict[uuid.UUID, tuple[uuid.UUID, str]] = {}  # client id → sheet, digest of its body
        self.names: set[str] = set()
        self.designs: set[int] = set()  # whose units are in `units`
        self.units: dict[tuple[int, str], Unit] = {}
        self.touched: dict[tuple[int, str], Unit] = {}
        self.parts: dict[str, PartNumber | None] = {}
        self.meters: dict[tuple[MeterUsed, date | None], Meter | None] = {}
        self.new: list[tuple[Sheet, SheetVersion, SheetBody]] = []
        self.allowance = sheet_allowance(contributor)
        self.left = self.allowance.left

    def take(self, read: Sequence[SheetBody | Taken]) -> list[Taken]:
        bodies = [body for body in read if isinstance(body, SheetBody)]
        own = Sheet.objects.filter(contributor=self.contributor)
        for part in _chunks(bodies):
            rows = own.filter(client_id__in=[body.client_id for body in part])
            self.known |= {c: (u, d) for c, u, d in rows.values_list("client_id", "uuid", "body_digest")}
            named = own.filter(name__in=[name_of(body) for body in part])
            self.names |= set(named.values_list("name", flat=True))
        if self.known:
            queue_left_behind({body.design.pk for body in bodies if body.client_id in self.known})
        answers = [body if isinstance(body, Taken) else self._one(body) for body in read]
        self._store()
        return answers

    def _one(self, body: SheetBody) -> Taken:
        try:
            if body.client_id in self.known:
                sheet, digest = self.known[body.client_id]
                if digest != body.digest:
                    raise RegistryErrors([client_id_used()])
                return Taken(sheet)
            if name_of(body) in self.names:
                raise RegistryErrors([sheet_name_used(name_of(body))])
            if self.left is not None and len(self.new) >= self.left:
                raise RegistryErrors([allowance_used(self.allowance)])
            return Taken(self._prepare(body), new=True)
        except RegistryErrors as errors:
            return Taken(errors=errors.errors)

    def _prepare(self, body: SheetBody) -> uuid.UUID:
        rereads = reread_of(self.contributor, body)
        sheet = Sheet(
            design=body.design,
            unit=self._unit(body),
            contributor=self.contributor,
            name=name_of(body),
            client_id=body.client_id,
            body_digest=body.digest,
            rereads=rereads,
            licence=settings.BENCHQUORUM_DATA_LICENCE,
            measured_it_myself=True,
        )
        version = version_made(
            sheet=sheet, body=body, readings=body.first_read, made_by=self.by, meter=self._meter(body)
        )
        self.new.append((sheet, version, body))
        self.known[body.client_id] = (sheet.uuid, body.digest)
        self.names.add(sheet.name)
        return sheet.uuid

    def _meter(self, body: SheetBody) -> Meter | None:
        key = (body.meter, body.read_on)
        if key not in self.meters:
            self.meters[key] = meter_of(self.contributor, body.meter, body)
        return self.meters[key]

    def _unit(self, body: SheetBody) -> Unit:
        """As `unit_of`; new ones are stored all at once."""
        if body.design.pk not in self.designs:
            self.designs.add(body.design.pk)
            for unit in Unit.objects.filter(contributor=self.contributor, design=body.design):
                self.units[unit.design_id, unit.key] = unit
        key = (body.design.pk, body.unit_key)
        if key not in self.units:
            self.units[key] = Unit(contributor=self.contributor, design=body.design, key=body.unit_key)
        unit = self.units[key]
        unit_describe(unit, body, self._part)
        self.touched[key] = unit
        return unit

    def _part(self, number: str) -> PartNumber | None:
        if number not in self.parts:
            self.parts[number] = part_named(number)
        return self.parts[number]

    def _store(self) -> None:
        if not self.new:
            return
        touched = list(self.touched.values())
        known = [unit for unit in touched if unit.pk is not None]
        Unit.objects.bulk_create([unit for unit in touched if unit.pk is None], batch_size=CHUNK)
        Unit.objects.bulk_update(known, ["tag_code", "date_code", "part_number"], batch_size=CHUNK)
        Sheet.objects.bulk_create([sheet for sheet, _v, _b in self.new], batch_size=CHUNK)
        SheetVersion.objects.bulk_create([version for _s, version, _b in self.new], batch_size=CHUNK)
        places = places_for({typed.place for _s, _v, body in self.new for typed in body.first_read})
        readings_write(
            row
            for _s, version, body in self.new
            for row in rows_made(version, body.meter, body.first_read, places)
        )
        for _s, version, body in self.new:
            if body.has_second_pass:
                second_pass_add(version, body, self.by)
        ids = [str(sheet.uuid) for sheet, _v, _b in self.new]
        record(by=self.by, action="sheets_submit", target_kind="sheet", target_uuid=None, sheets=ids)
        queue_refreshes({sheet.design.pk for sheet, _v, _b in self.new})


def under(taken: Taken, at: str) -> Taken:
    """The same, its errors' pointers set below `at`."""
    return replace(taken, errors=tuple(error.at(field=at + error.field) for error in taken.errors))


def _chunks(rows: Sequence[T]) -> Iterable[Sequence[T]]:
    return (rows[n : n + CHUNK] for n in range(0, len(rows), CHUNK))
