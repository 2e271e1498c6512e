"""Designs come into the catalogue: proposed by anyone with an account, usable at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import transaction

from registry.models import (
    Application,
    Connector,
    Design,
    GearboxFamily,
    Maker,
    PartNumber,
    Pin,
    Position,
    PositionAlias,
    User,
    part_key,
)
from registry.models.catalogue import ConnectorViewing, DesignActuation
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.audit import record
from registry.services.fields import Fields
from registry.translation import gettext as _

MOST_PINS, MOST_POSITIONS, MOST_WORDS = 64, 64, 200


@dataclass(frozen=True)
class PinDrawn:
    label: str
    row: int
    column: int
    empty: bool
    line_name: str


@dataclass(frozen=True)
class PositionNamed:
    label: str
    name: str
    releases_starter: bool
    aliases: tuple[str, ...]


@transaction.atomic
def design_propose(*, by: User, body: Any) -> Design:
    """A new design from a body of JSON (DEVELOPERS.md, § Bodies); raises RegistryErrors with every fault."""
    require(by, "propose_design")
    fields = Fields(body)
    name = fields.name("name", longest=200, needed=True)
    positions, pins = _positions(fields), _pins(fields)
    common = fields.text("common", longest=40)
    if common and common not in [pin.label for pin in pins if not pin.empty]:
        fields.wrong("common", "pin_unknown", _("There is no pin “{pin}”.").format(pin=common))
    if name and Design.objects.filter(key=part_key(name), name__iexact=name).exists():
        fields.wrong(
            "name",
            "design_exists",
            _("There is a design “{name}” already.").format(name=name),
            _("Open it and add your sheet there, or choose another name."),
        )
    applications = _applications(fields)
    numbers = _words(fields, "part_numbers", 80)
    families = _words(fields, "families", 120)
    maker_name = fields.name("maker", longest=120)
    design = Design(
        name=name,
        actuation=fields.one_of("actuation", DesignActuation.values, DesignActuation.LEVER),
        description=fields.text("description", longest=4000, lines=True),
        proposed_by=contributor_of(by),
        start_known=any(position.releases_starter for position in positions),
    )
    connector = Connector(
        landmark=fields.text("landmark"),
        viewing=fields.one_of("viewing", ConnectorViewing.values, ConnectorViewing.UNKNOWN),
    )
    fields.raise_all()
    maker = Maker.objects.get_or_create(name=maker_name)[0] if maker_name else None
    design.maker = maker
    design.save()
    design_draw(design=design, connector=connector, pins=pins, common=common, positions=positions)
    design.families.set(GearboxFamily.objects.get_or_create(name=n, maker=maker)[0] for n in families)
    for application in applications:
        application.design = design
        application.save()
    for number in numbers:
        part_number_link(number=number, design=design)
    record(by=by, action="design_propose", target_kind="design", target_uuid=design.uuid)
    return design


def design_draw(
    *,
    design: Design,
    connector: Connector,
    pins: list[PinDrawn],
    common: str,
    positions: list[PositionNamed],
) -> None:
    """Give a new design its connector, pins and positions."""
    connector.design = design
    connector.save()
    made = [
        Pin.objects.create(
            connector=connector,
            label=pin.label,
            order=order,
            row=pin.row,
            column=pin.column,
            empty=pin.empty,
            line_name=pin.line_name,
        )
        for order, pin in enumerate(pins, start=1)
    ]
    connector.common = next((pin for pin in made if pin.label == common), None)
    connector.save(update_fields=["common"])
    for step, position in enumerate(positions, start=1):
        row = Position.objects.create(
            design=design,
            step=step,
            label=position.label,
            name=position.name,
            releases_starter=position.releases_starter,
        )
        PositionAlias.objects.bulk_create(
            PositionAlias(position=row, label=alias) for alias in dict.fromkeys(position.aliases)
        )


def part_number_link(*, number: str, design: Design, source_class: str = "unknown") -> PartNumber:
    """The part number, however it is punctuated, belongs to the design (among others)."""
    part, _made = PartNumber.objects.get_or_create(
        key=part_key(number), defaults={"number": number, "source_class": source_class}
    )
    part.designs.add(design)
    return part


def _positions(fields: Fields) -> list[PositionNamed]:
    found = [
        PositionNamed(
            label=row.name("label", longest=40, needed=True),
            name=row.name("name", longest=60),
            releases_starter=row.yes("releases_starter"),
            aliases=tuple(_words(row, "aliases", 40)),
        )
        for row in fields.rows("positions", most=MOST_POSITIONS)
    ]
    if not found:
        fields.wrong(
            "positions", "value_missing", _("There are no positions."), _("Name them in detent order.")
        )
    labels = [label for position in found for label in {position.label, *position.aliases}]
    _once(fields, "positions", labels)
    return found


def _pins(fields: Fields) -> list[PinDrawn]:
    given = fields.body.get("pins")
    if isinstance(given, list) and all(isinstance(pin, str) for pin in given):
        plain = [{"label": label, "column": n} for n, label in enumerate(given, start=1)]
        fields = Fields({"pins": plain}, fields.at, fields.errors)
    found = [
        PinDrawn(
            label=row.name("label", longest=40, needed=True),
            row=row.whole("row", 1, low=1, high=99),
            column=row.whole("column", n, low=1, high=99),
            empty=row.yes("empty"),
            line_name=row.name("line_name", longest=60),
        )
        for n, row in enumerate(fields.rows("pins", most=MOST_PINS), start=1)
    ]
    if len([pin for pin in found if not pin.empty]) < 2:
        fields.wrong("pins", "value_missing", _("A connector has two pins at least."), _("Name its pins."))
    _once(fields, "pins", [pin.label for pin in found])
    return found


def _once(fields: Fields, name: str, labels: list[str]) -> None:
    twice = sorted({label for label in labels if label and labels.count(label) > 1})
    if twice:
        fields.wrong(
            name,
            "label_twice",
            _("Named twice: {labels}.").format(labels=", ".join(twice)),
            _("Give each its own label."),
        )


def _applications(fields: Fields) -> list[Application]:
    found = []
    for row in fields.rows("applications", most=200):
        years = [row.number(name, None, low=1900, high=2200) for name in ("year_from", "year_to")]
        year_from, year_to = [None if year is None else int(year) for year in years]
        if year_from and year_to and year_from > year_to:
            row.wrong("year_to", "years_out_of_order", _("The last year is before the first."))
        vehicle = row.name("vehicle", longest=160, needed=True)
        found.append(Application(vehicle=vehicle, year_from=year_from, year_to=year_to))
    return found


def _words(fields: Fields, name: str, longest: int) -> list[str]:
    value = fields.body.get(name)
    value = [] if value is None else value
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        fields.wrong(name, "not_a_list", _("This is not a list of words."), _("Send a list of texts."))
        return []
    if len(value) > MOST_WORDS:
        fields.wrong(name, "too_many", _("More than {most} entries.").format(most=MOST_WORDS))
        return []
    row = Fields({str(n): word for n, word in enumerate(value)}, (*fields.at, name), fields.errors)
    words = [row.name(str(n), longest=longest) for n in range(len(value))]
    if name == "part_numbers" and any(not part_key(word) for word in words if word):
        fields.wrong(name, "part_number_empty", _("A part number has letters or figures."))
        return []
    return [word for word in dict.fromkeys(words) if word]
