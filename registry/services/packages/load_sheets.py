"""Sheets of a package, under the ids and pseudonyms that they have; what is here is not stored again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from django.utils import timezone

from registry.models import (
    Change,
    Contributor,
    Design,
    PartNumber,
    Pin,
    Position,
    Reading,
    Sheet,
    SheetVersion,
    Unit,
    UnitMatch,
    Workshop,
)
from registry.models.base import own_origin
from registry.services.changes import change_of_sheets
from registry.services.places import PlaceKey, places_for

Plain = dict[str, Any]
BATCH = 1000
TAKEN_BACK, ASIDE = "taken back where it comes from", "set aside where it comes from"


class SheetsLoaded:
    """Loads people, units and sheets; touched: ids of designs whose evidence changed.

    of: registries whose word counts on taking a sheet back and on which version stands, for it is theirs;
    None: all.  Anybody's copy can bring what is newer than what is here.
    """

    def __init__(
        self, designs: dict[str, Design], parts: dict[str, PartNumber], of: set[str] | None = None
    ) -> None:
        self.designs, self.parts, self.of = designs, parts, of
        self.people: dict[str, Contributor] = {}
        self.units: dict[str, Unit] = {}
        self.touched: set[int] = set()
        self.added = 0

    def load_people(self, rows: Iterable[Plain]) -> None:
        for row in rows:
            person, made = Contributor.objects.get_or_create(
                pseudonym=row["contributor"], defaults={"origin": row["origin"]}
            )
            if made or person.origin != own_origin():
                workshop = self._workshop(row)
                if person.workshop_id != (None if workshop is None else workshop.pk):
                    person.workshop = workshop
                    person.save(update_fields=["workshop"])
            self.people[row["contributor"]] = person

    def _workshop(self, row: Plain) -> Workshop | None:
        if not row["workshop"]:
            return None
        names = {"name": f"workshop {row['workshop']}", "origin": row["origin"]}
        return Workshop.objects.get_or_create(uuid=row["workshop"], defaults=names)[0]

    def load_units(self, rows: list[Plain]) -> None:
        """Those that others are the same as come first: a switch is called by its first unit."""
        known = {str(one.uuid): one for one in _by_uuid(Unit, [row["unit"] for row in rows])}
        new = []
        for row in sorted(rows, key=lambda row: (row["same_as"] not in ("", row["unit"]), row["unit"])):
            unit = known.get(row["unit"])
            if unit is None:
                unit = Unit(
                    uuid=row["unit"],
                    origin=row["origin"],
                    contributor=self.people[row["contributor"]],
                    design=self.designs[row["design"]],
                    key=row["unit"],
                    date_code=row["date_code"],
                    part_number=self.parts.get(row["part"]),
                )
                new.append(unit)
            self.units[row["unit"]] = unit
        Unit.objects.bulk_create(new, batch_size=BATCH)
        words = []
        for row in rows:
            first = self.units.get(row["same_as"])
            if first is not None and row["same_as"] != row["unit"]:
                unit = self.units[row["unit"]]
                speakers = {first.contributor_id, unit.contributor_id}
                words += [UnitMatch(unit=first, same_as=unit, said_by_id=one) for one in sorted(speakers)]
        UnitMatch.objects.bulk_create(words, batch_size=BATCH, ignore_conflicts=True)

    def load_sheets(self, rows: list[Plain], readings: Iterable[Plain]) -> None:
        """rows: all versions, in order of sheet and number; readings: in the same order."""
        known = {str(one.uuid): one for one in _by_uuid(Sheet, list({row["sheet"] for row in rows}))}
        first, kept = [], set()
        for sheet, versions in groupby(rows, key=lambda row: row["sheet"]):
            newest = list(versions)[-1]
            if sheet not in known:
                known[sheet] = self._sheet(newest)
                first.append((newest.get("stored") or 0, sheet))
            elif known[sheet].origin == own_origin():
                kept.add(sheet)
        new = [known[sheet] for _stored, sheet in sorted(first)]  # stored here in the order of storing there
        Sheet.objects.bulk_create(new, batch_size=BATCH)
        self._rereads([row for row in rows if row["sheet"] not in kept], known)
        fresh = self._versions([row for row in rows if row["sheet"] not in kept], known)
        self._readings(fresh, readings)
        self._standing([row for row in rows if row["sheet"] not in kept and row["current"]], known)
        changed = {sheet for sheet, _number in fresh}
        added = {str(sheet.uuid) for sheet in new}
        self.added += len(added)
        self.touched |= {known[sheet].design_id for sheet in changed}
        change_of_sheets(Change.Kind.SHEET_ADDED, [known[sheet].uuid for sheet in sorted(added)])
        change_of_sheets(Change.Kind.SHEET_AMENDED, [known[sheet].uuid for sheet in sorted(changed - added)])

    def _sheet(self, row: Plain) -> Sheet:
        return Sheet(
            uuid=row["sheet"],
            origin=row["origin"],
            design=self.designs[row["design"]],
            unit=self.units[row["unit"]],
            contributor=self.people[row["contributor"]],
            name=f"{row['origin']} {row['sheet']}",
            client_id=row["sheet"],
            body_digest=row["digest"],
            licence=row["licence"],
            measured_it_myself=row["measured_it_myself"],
        )

    def _rereads(self, rows: list[Plain], known: dict[str, Sheet]) -> None:
        for row in rows:
            sheet, earlier = known[row["sheet"]], known.get(row["rereads"])
            if earlier is not None and sheet.rereads_id is None:
                sheet.rereads = earlier
                sheet.save(update_fields=["rereads"])

    def _versions(self, rows: list[Plain], sheets: dict[str, Sheet]) -> dict[tuple[str, int], SheetVersion]:
        """The versions that are not here yet, stored; exactly one of a sheet is current, and it goes back to
        an earlier one by the word of the sheet's own registry alone: a third one's copy may be old."""
        there: dict[tuple[str, int], SheetVersion] = {}
        ids = {sheets[row["sheet"]].pk: row["sheet"] for row in rows}
        for part in _chunks(sorted(ids)):
            for one in SheetVersion.objects.filter(sheet__in=part):
                there[ids[one.sheet_id], one.number] = one
        stands = {sheet: number for (sheet, number), one in there.items() if one.is_current}
        fresh: dict[tuple[str, int], SheetVersion] = {}
        current: list[SheetVersion] = []
        for row in rows:
            key = (row["sheet"], row["version"])
            version = there.get(key)
            if version is None:
                version = fresh[key] = _version(row, sheets[row["sheet"]])
            older = row["version"] < stands.get(row["sheet"], 0) and not self._theirs(sheets[row["sheet"]])
            if row["current"] and not version.is_current and not older:
                current.append(version)
        stale = [one.pk for key, one in there.items() if one.is_current and _overtaken(key, current, sheets)]
        for part in _chunks(stale):
            SheetVersion.objects.filter(pk__in=part).update(is_current=False)
        for version in current:
            version.is_current = True
        SheetVersion.objects.bulk_create(fresh.values(), batch_size=BATCH)
        old = [one.pk for one in current if one.pk in {known.pk for known in there.values()}]
        for part in _chunks(old):
            SheetVersion.objects.filter(pk__in=part).update(is_current=True)
        return fresh

    def _readings(self, fresh: dict[tuple[str, int], SheetVersion], rows: Iterable[Plain]) -> None:
        """Readings of the versions that were stored just now, a few thousand at a time."""
        wanted: list[tuple[SheetVersion, Plain]] = []
        for row in rows:
            version = fresh.get((row["sheet"], row["version"]))
            if version is not None:
                wanted.append((version, row))
            if len(wanted) >= 20 * BATCH:
                _write_readings(wanted)
                wanted = []
        _write_readings(wanted)

    def _standing(self, rows: list[Plain], sheets: dict[str, Sheet]) -> None:
        """A sheet of an account that was set aside doesn't count here either; one brought back does."""
        for row in rows:
            sheet = sheets[row["sheet"]]
            if row["counts"] == (sheet.withdrawn_at is None) or not self._theirs(sheet):
                continue
            sheet.withdrawn_at = None if row["counts"] else timezone.now()
            sheet.withdrawn_reason = "" if row["counts"] else ASIDE
            sheet.save(update_fields=["withdrawn_at", "withdrawn_reason"])
            self.touched.add(sheet.design_id)
            change_of_sheets(
                Change.Kind.SHEET_RESTORED if row["counts"] else Change.Kind.SHEET_WITHDRAWN, [sheet.uuid]
            )

    def _theirs(self, sheet: Sheet) -> bool:
        return self.of is None or sheet.origin in self.of

    def take_back(self, design: Design, rows: list[Plain]) -> None:
        """Sheets that are not among all of the design's rows any more were taken back there."""
        there = {row["sheet"] for row in rows}
        sheets = Sheet.objects.filter(design=design, withdrawn_at=None).exclude(origin=own_origin())
        if self.of is not None:
            sheets = sheets.filter(origin__in=sorted(self.of))
        for sheet in sheets:
            if str(sheet.uuid) not in there:
                sheet.withdrawn_at, sheet.withdrawn_reason = timezone.now(), TAKEN_BACK
                sheet.save(update_fields=["withdrawn_at", "withdrawn_reason"])
                self.touched.add(design.pk)
                change_of_sheets(Change.Kind.SHEET_WITHDRAWN, [sheet.uuid])


def _overtaken(key: tuple[str, int], current: list[SheetVersion], sheets: dict[str, Sheet]) -> bool:
    return any(one.sheet_id == sheets[key[0]].pk and one.number != key[1] for one in current)


def _version(row: Plain, sheet: Sheet) -> SheetVersion:
    names = ("pattern_shown", "purpose", "held_good", "read_at", "read_on", "distance_km", "units_claimed")
    return SheetVersion(
        sheet=sheet,
        number=row["version"],
        is_current=False,
        source_class=row["class"],
        digest=row["digest"],
        **{name: row[name] for name in names},
    )


def _write_readings(rows: list[tuple[SheetVersion, Plain]]) -> None:
    designs = {version.sheet.design_id for version, _row in rows}
    positions, pins = _labels(designs)
    keys: list[tuple[PlaceKey, bool]] = []
    for version, row in rows:
        design = version.sheet.design_id
        a, b = pins[design, row["pin"]], pins[design, row["against"]]
        key = (positions[design, row["position"]], row["between"], min(a, b), max(a, b))
        keys.append((key, a > b))
    places = places_for({key for key, _turned in keys})
    names = ("sweep", "kind", "low_ohm", "high_ohm", "limit_ohm", "lead_ohm", "first_pass")
    Reading.objects.bulk_create(
        (
            Reading(
                version=version,
                place_id=places[key],
                turned=turned,
                as_typed=row["reading"],
                **{name: row[name] for name in names},
            )
            for (key, turned), (version, row) in zip(keys, rows, strict=True)
        ),
        batch_size=BATCH,
    )


def _labels(designs: set[int]) -> tuple[dict[tuple[int, str], int], dict[tuple[int, str], int]]:
    """Ids of positions and pins by design and label."""
    positions: dict[tuple[int, str], int] = {}
    pins: dict[tuple[int, str], int] = defaultdict(int)
    for part in _chunks(sorted(designs)):
        for pk, design, label in Position.objects.filter(design__in=part).values_list(
            "pk", "design", "label"
        ):
            positions[design, label] = pk
        rows = Pin.objects.filter(connector__design__in=part)
        for pk, design, label in rows.values_list("pk", "connector__design", "label"):
            pins[design, label] = pk
    return positions, dict(pins)


def _by_uuid(model: type[Any], names: list[str]) -> Iterator[Any]:
    for part in _chunks(sorted(names)):
        yield from model.objects.filter(uuid__in=part)


def _chunks(values: list[Any]) -> Iterator[list[Any]]:
    for start in range(0, len(values), 500):
        yield values[start : start + 500]
