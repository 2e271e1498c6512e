"""Catalogue rows of a package become designs, drawn connectors, part numbers; a second time they are updated.

Ids and origins stay.  What was made here (by its origin) is never overwritten by a copy that comes back.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

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
    Supersession,
    Variant,
    part_key,
)
from registry.models.base import own_origin

Plain = dict[str, Any]
FAR = 10_000  # beyond any number in use: rows move there while their numbers are exchanged


class Catalogue:
    """designs: here, by uuid; parts: here, by the uuid that the package gives them.

    of: registries whose word on what is here already counts, for it is theirs; None: all but our own.
    """

    def __init__(self, of: set[str] | None = None) -> None:
        self.of = of
        self.designs: dict[str, Design] = {}
        self.parts: dict[str, PartNumber] = {}
        self.made: set[str] = set()
        self.kept: set[str] = set()  # not theirs: not to be overwritten

    def load_designs(self, rows: list[Plain]) -> None:
        known = {str(one.uuid): one for one in _known(Design, [row["design"] for row in rows])}
        for row in rows:
            design = known.get(row["design"])
            if design is None:
                design = Design(uuid=row["design"], origin=row["origin"])
                self.made.add(row["design"])
            elif not self._theirs(design.origin):
                self.kept.add(row["design"])
                self.designs[row["design"]] = design
                continue
            design.name, design.state, design.actuation = row["name"], row["state"], row["actuation"]
            design.description, design.start_known = row["description"], row["start_known"]
            design.maker = Maker.objects.get_or_create(name=row["maker"])[0] if row["maker"] else None
            design.save()
            design.families.set([_family(named) for named in row["families"]])
            self.designs[row["design"]] = design

    def _theirs(self, origin: str) -> bool:
        return origin != own_origin() and (self.of is None or origin in self.of)

    def load_drawings(self, designs: list[Plain], positions: Iterable[Plain], pins: Iterable[Plain]) -> None:
        """Positions and pins, known again by the order in which they were made, whatever their label."""
        by_design, of_design = _grouped(positions), _grouped(pins)
        for row in designs:
            if row["design"] in self.kept:
                continue
            design = self.designs[row["design"]]
            _positions(design, sorted(by_design[row["design"]], key=lambda one: one["step"]))
            connector, _made = Connector.objects.get_or_create(design=design)
            _pins(connector, sorted(of_design[row["design"]], key=lambda one: one["made"]))
            connector.landmark, connector.viewing = row["landmark"], row["viewing"]
            connector.common = connector.pins.filter(label=row["common"]).first() if row["common"] else None
            connector.save()

    def load_links(self, designs: list[Plain], applications: Iterable[Plain]) -> None:
        """What points from one design to another, and where they are fitted."""
        fitted = _grouped(applications)
        for row in designs:
            if row["design"] in self.kept:
                continue
            design = self.designs[row["design"]]
            design.replaces.set(Design.objects.filter(uuid__in=row["replaces"]))
            merged = Design.objects.filter(uuid=row["merged_into"]).first() if row["merged_into"] else None
            Design.objects.filter(pk=design.pk).update(merged_into=merged)
            design.applications.all().delete()
            for one in sorted(fitted[row["design"]], key=lambda one: one["row"]):
                family = _family(one["family"]) if one["family"] else None
                years = {"year_from": one["year_from"], "year_to": one["year_to"]}
                Application.objects.create(design=design, vehicle=one["vehicle"], family=family, **years)

    def load_parts(self, parts: list[Plain], supersessions: Iterable[Plain]) -> None:
        """A number that is here already, under whatever id, is the same number."""
        theirs: set[str] = set()
        here = {str(one.uuid): one for one in _known(PartNumber, [row["part"] for row in parts])}
        for row in parts:
            part = here.get(row["part"]) or PartNumber.objects.filter(key=part_key(row["number"])).first()
            if part is None:
                part = PartNumber(uuid=row["part"], origin=row["origin"])
            if part.pk is None or self._theirs(part.origin):
                theirs.add(row["part"])
                part.number, part.source_class = row["number"], row["class"]
                part.save()
            self.parts[row["part"]] = part
            designs = Design.objects.filter(uuid__in=row["designs"])
            if row["part"] in theirs:
                part.designs.set([*designs, *part.designs.filter(origin=own_origin())])
            else:
                part.designs.add(*designs)
        for row in parts:
            into = self.parts.get(row["merged_into"])
            if into is not None and row["part"] in theirs:
                PartNumber.objects.filter(pk=self.parts[row["part"]].pk).update(merged_into=into)
        for row in supersessions:
            older, newer = self.parts.get(row["older"]), self.parts.get(row["newer"])
            if older is not None and newer is not None and older.pk != newer.pk:
                ids = {"uuid": row["supersession"], "origin": row["origin"]}
                link = Supersession.objects.filter(older=older, newer=newer).first()
                link = link or Supersession(older=older, newer=newer, **ids)
                if link.pk is None or self._theirs(link.origin):
                    link.same_pattern = row["same_pattern"]
                    link.save()


def load_variants(rows: Iterable[Plain], designs: dict[str, Design]) -> None:
    for row in rows:
        Variant.objects.update_or_create(
            design=designs[row["design"]],
            key=row["variant"],
            defaults={
                "table": row["states"],
                "date_code_from": row["date_code_from"],
                "date_code_to": row["date_code_to"],
            },
            create_defaults={
                "uuid": row["id"],
                "origin": row["origin"],
                "table": row["states"],
                "date_code_from": row["date_code_from"],
                "date_code_to": row["date_code_to"],
            },
        )


def _known(model: type[Any], names: list[str]) -> list[Any]:
    found: list[Any] = []
    for start in range(0, len(names), 500):
        found += model.objects.filter(uuid__in=names[start : start + 500])
    return found


def _grouped(rows: Iterable[Plain]) -> dict[str, list[Plain]]:
    found: dict[str, list[Plain]] = defaultdict(list)
    for row in rows:
        found[row["design"]].append(row)
    return found


def _family(named: list[str]) -> GearboxFamily:
    name, maker = named
    owner = Maker.objects.get_or_create(name=maker)[0] if maker else None
    family = GearboxFamily.objects.filter(name=name, maker=owner).first()
    return family or GearboxFamily.objects.create(name=name, maker=owner)


def _positions(design: Design, rows: list[Plain]) -> None:
    known = {position.step: position for position in design.positions.all()}
    if any(row["step"] in known and known[row["step"]].label != row["position"] for row in rows):
        for position in known.values():  # labels are unique at every moment
            Position.objects.filter(pk=position.pk).update(label=f"\x7f{position.step}")
    for row in rows:
        position = known.get(row["step"]) or Position(design=design, step=row["step"])
        position.label, position.name = row["position"], row["name"]
        position.releases_starter = row["releases_starter"]
        position.save()
        if {alias.label for alias in position.aliases.all()} != set(row["aliases"]):
            position.aliases.all().delete()
            PositionAlias.objects.bulk_create(
                PositionAlias(position=position, label=label) for label in row["aliases"]
            )


def _pins(connector: Connector, rows: list[Plain]) -> None:
    known = list(connector.pins.order_by("pk"))
    drawn = ("label", "order", "row", "column", "empty", "line_name")
    for n, pin in enumerate(known):
        if n < len(rows) and any(getattr(pin, name) != _drawn(rows[n])[name] for name in drawn):
            Pin.objects.filter(pk=pin.pk).update(order=FAR + n, label=f"\x7f{n}")
    for n, row in enumerate(rows):
        pin = known[n] if n < len(known) else Pin(connector=connector)
        for name, value in _drawn(row).items():
            setattr(pin, name, value)
        pin.save()


def _drawn(row: Plain) -> Plain:
    names = ("order", "row", "column", "empty", "line_name")
    return {"label": row["pin"], **{name: row[name] for name in names}}
