"""A bench sheet as it arrives by page or API: every field checked, every fault named at its place."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from itertools import chain
from typing import Any

from registry.errors import RegistryError
from registry.formats.reading import Reading, ReadingKind, parse_ohm, parse_reading
from registry.models import Design
from registry.models.catalogue import SourceClass
from registry.models.sheets import HeldGood, ReadAt, SheetVersionPurpose
from registry.selectors.catalogue_kept import KeptCatalogue
from registry.selectors.labels import DesignLabels, LabelledPin, LabelledPosition
from registry.services.fields import Fields
from registry.translation import gettext as _

MOST_READINGS = 8000


@dataclass(frozen=True)
class MeterUsed:
    name: str = ""
    limit_ohm: float = 2e7
    lead_ohm: float = 0.0
    apart_shows: str = "OL"
    buzzer_limit_ohm: float | None = None
    resolution_ohm: float | None = None


@dataclass(frozen=True)
class ReadingTyped:
    """position and pins of the design; turned: pin and against were given in the other order."""

    position: LabelledPosition
    between: bool
    pin: LabelledPin
    against: LabelledPin
    sweep: int
    as_typed: str
    reading: Reading
    first_pass: bool = True

    @cached_property
    def place(self) -> tuple[int, bool, int, int]:
        low, high = sorted((self.pin.pk, self.against.pk))
        return self.position.pk, self.between, low, high

    @property
    def turned(self) -> bool:
        return self.pin.pk > self.against.pk


@dataclass(frozen=True)
class SheetBody:
    """What was sent, read; warnings don't stop it."""

    design: Design
    client_id: uuid.UUID
    name: str
    unit_key: str
    tag_code: str
    date_code: str
    part_number: str
    purpose: str
    held_good: str
    source_class: str
    read_at: str
    read_on: date | None
    distance_km: float | None
    meter: MeterUsed
    measured_it_myself: bool
    units_claimed: int
    note: str
    rereads: uuid.UUID | None
    readings: tuple[ReadingTyped, ...]  # as they stand now: the second pass over the first
    first_read: tuple[ReadingTyped, ...]
    warnings: tuple[RegistryError, ...] = field(default=())

    @property
    def has_second_pass(self) -> bool:
        return any(not typed.first_pass for typed in self.readings)

    def as_first_read(self) -> SheetBody:
        """The sheet before the pattern was shown."""
        return replace(self, readings=self.first_read)

    @cached_property
    def digest(self) -> str:
        """Of what was sent, client id apart: the same id with another body is an error."""
        plain = {
            name: str(value)
            for name, value in self.__dict__.items()
            if name not in ("client_id", "readings", "first_read", "warnings", "design", "digest")
        }
        rows = sorted(
            {
                (r.place[0], r.between, r.pin.pk, r.against.pk, r.sweep, r.as_typed, r.first_pass)
                for r in chain(self.readings, self.first_read)
            }
        )
        text = json.dumps([self.design.pk, plain, rows], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


def read_body(
    body: Any,
    *,
    design: Design | None = None,
    catalogue: KeptCatalogue | None = None,
    stored: Collection[str] = (),
) -> SheetBody:
    """The sheet in a body of JSON (DEVELOPERS.md, § Bodies); RegistryErrors names every fault.

    catalogue: one for all where many bodies are read; stored: names that the sheet has already.
    """
    catalogue = catalogue or KeptCatalogue()
    fields = Fields(body)
    chosen = design or _design(fields, catalogue)
    unit, meter = fields.inside("unit"), _meter(fields.inside("meter"))
    purpose, held_good = _purpose(fields)
    first_read, readings = _readings(fields, catalogue.labels(chosen), meter) if chosen else ((), ())
    if chosen and not any(r.reading.kind != ReadingKind.NOT_TAKEN for r in readings) and not fields.errors:
        fields.wrong(
            "readings", "no_readings", _("There is no reading in this sheet."), _("Take one at least.")
        )
    claimed = _claimed(fields, readings)
    sheet = SheetBody(
        design=chosen or Design(),
        client_id=fields.id("client_id") or uuid.uuid4(),
        name=fields.name("name", stored=stored),
        unit_key=unit.name("key", needed=True, stored=stored),
        tag_code=unit.name("tag_code", longest=80, stored=stored),
        date_code=unit.name("date_code", longest=40, stored=stored),
        part_number=unit.name("part_number", longest=80, stored=stored),
        purpose=purpose,
        held_good=held_good,
        source_class=fields.one_of("source_class", SourceClass.values, SourceClass.UNKNOWN),
        read_at=fields.one_of("read_at", ReadAt.values, ReadAt.BENCH),
        read_on=fields.day("read_on"),
        distance_km=fields.number("distance_km", None, high=1e7),
        meter=meter,
        measured_it_myself=fields.yes("measured_it_myself"),
        units_claimed=claimed,
        note=fields.text("note", longest=4000, lines=True),
        rereads=fields.id("rereads"),
        readings=readings,
        first_read=first_read,
    )
    fields.raise_all()
    return replace(sheet, warnings=tuple(_warnings(sheet)))


def _design(fields: Fields, catalogue: KeptCatalogue) -> Design | None:
    try:
        return catalogue.design(fields.text("design", needed=True))
    except RegistryError as error:
        fields.errors.append(error.at(field="/design"))
        return None


def _purpose(fields: Fields) -> tuple[str, str]:
    """What the sheet is for, and why its unit is held good."""
    purpose = fields.one_of("purpose", SheetVersionPurpose.values, SheetVersionPurpose.KNOWN_GOOD)
    held_good = fields.one_of("held_good", HeldGood.values, HeldGood.WORKED)
    if purpose == SheetVersionPurpose.SUSPECT:
        return purpose, HeldGood.NO
    if held_good == HeldGood.NO:
        fields.wrong(
            "held_good",
            "suspect_held_good",
            _("A unit that nothing holds good is a suspect."),
            _("Say why it counts as good, or send it as a suspect."),
        )
    return purpose, held_good


def _claimed(fields: Fields, readings: Collection[ReadingTyped]) -> int:
    """For how many units the sheet speaks."""
    claimed = fields.whole("units_claimed", 1, low=1, high=999)
    if claimed > 1 and any(r.reading.kind in (ReadingKind.VALUE, ReadingKind.RANGE) for r in readings):
        fields.wrong(
            "units_claimed",
            "summary_with_figures",
            _("A summary of several units has states only, no single figures."),
            _("Write cont, open or the reading of one unit as its own sheet."),
        )
    return claimed


def _meter(fields: Fields) -> MeterUsed:
    def ohm(value: Any) -> float:
        return parse_ohm(str(value))

    limit = fields.take("limit_ohm", ohm, 2e7)
    lead = fields.take("lead_ohm", ohm, 0.0)
    if limit < 1:
        fields.wrong("limit_ohm", "limit_impossible", _("No meter ends below 1 Ω."))
    if lead > 1000:
        fields.wrong("lead_ohm", "lead_impossible", _("Leads have less than 1 kΩ."))
    return MeterUsed(
        name=fields.text("name", longest=80),
        limit_ohm=limit,
        lead_ohm=lead,
        apart_shows=fields.text("apart_shows", longest=20) or "OL",
        buzzer_limit_ohm=fields.take("buzzer_limit_ohm", ohm, None),
        resolution_ohm=fields.take("resolution_ohm", ohm, None),
    )


def _readings(
    fields: Fields, labels: DesignLabels, meter: MeterUsed
) -> tuple[tuple[ReadingTyped, ...], tuple[ReadingTyped, ...]]:
    """The first pass as typed, and the sheet with what was changed after the pattern was shown."""
    first = _pass(fields, "readings", labels, meter)
    second = _pass(fields, "second_pass", labels, meter)
    rows = {(r.place, r.sweep): r for r in first}
    for late in second:
        key = (late.place, late.sweep)
        if key not in rows or rows[key].as_typed != late.as_typed:
            rows[key] = replace(late, first_pass=False)
    return tuple(first), tuple(rows.values())


def _pass(fields: Fields, name: str, labels: DesignLabels, meter: MeterUsed) -> list[ReadingTyped]:
    found: dict[tuple[Any, int], ReadingTyped] = {}
    for row in fields.rows(name, most=MOST_READINGS):
        typed = _reading(row, labels, meter)
        if typed is None:
            continue
        if (typed.place, typed.sweep) in found:
            row.wrong(
                "",
                "place_twice",
                _("Pin {pin} against {against} in {position} is here twice.").format(
                    pin=typed.pin.label, against=typed.against.label, position=typed.position.label
                ),
                _("Keep one of them, or give the second a sweep of its own."),
            )
        found[typed.place, typed.sweep] = typed
    return list(found.values())


def _reading(row: Fields, labels: DesignLabels, meter: MeterUsed) -> ReadingTyped | None:
    before = len(row.errors)
    position = row.take("position", lambda v: labels.position(str(v)), None)
    pin = row.take("pin", lambda v: labels.pin(str(v)), None)
    against = row.take("against", lambda v: labels.pin(str(v)), None)
    for name, value in (("position", position), ("pin", pin), ("against", against)):
        if value is None and len(row.errors) == before:
            row.wrong(name, "value_missing", _("This is missing."), _("Say which one it is."))
    if pin is not None and against is not None and pin.pk == against.pk:
        row.wrong("against", "same_pin", _("Both leads are on pin {pin}.").format(pin=pin.label))
    as_typed = row.body.get("reading")
    as_typed = "" if as_typed is None else str(as_typed).strip()
    reading = row.take(
        "reading",
        lambda value: parse_reading(str(value), meter.apart_shows, meter.limit_ohm),
        Reading(ReadingKind.NOT_TAKEN, None, None),
    )
    sweep = row.whole("sweep", 1, low=1, high=99)
    between = row.yes("between")
    if len(row.errors) > before or position is None or pin is None or against is None:
        return None
    return ReadingTyped(position, between, pin, against, sweep, as_typed, reading)


def _warnings(sheet: SheetBody) -> list[RegistryError]:
    """What is odd but may be right; nothing is clamped or changed in silence."""
    found = []
    for n, typed in enumerate(sheet.readings):
        low = typed.reading.low
        if low is not None and low < sheet.meter.lead_ohm:
            found.append(
                RegistryError(
                    "lead_above_reading",
                    _(
                        "Pin {pin} in {position} reads {typed}, less than your leads alone ({lead:g} Ω)."
                    ).format(
                        pin=typed.pin.label,
                        position=typed.position.label,
                        typed=typed.as_typed,
                        lead=sheet.meter.lead_ohm,
                    ),
                    _("Touch the leads together again; the reading is kept as you typed it."),
                    field=f"/readings/{n}/reading",
                )
            )
    return found
