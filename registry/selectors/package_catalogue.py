"""The catalogue as rows of a package's tables: of everything, or what belongs to one design."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from registry.models import (
    Application,
    Design,
    GearboxFamily,
    PartNumber,
    Pin,
    Position,
    Supersession,
    Variant,
)

Row = tuple[Any, ...]


def _designs(only: Design | None) -> Iterator[Row]:
    rows = Design.objects.order_by("uuid").select_related("maker", "connector__common", "merged_into")
    rows = rows.prefetch_related("families__maker", "replaces")
    for one in rows if only is None else rows.filter(pk=only.pk):
        connector = getattr(one, "connector", None)
        common = None if connector is None else connector.common
        yield (
            str(one.uuid),
            one.origin,
            one.name,
            "" if one.maker is None else one.maker.name,
            sorted(family_named(family) for family in one.families.all()),
            one.state,
            one.actuation,
            one.description,
            one.start_known,
            "" if connector is None else connector.landmark,
            "unknown" if connector is None else connector.viewing,
            "" if common is None else common.label,
            "" if one.merged_into is None else str(one.merged_into.uuid),
            sorted(str(other.uuid) for other in one.replaces.all()),
        )


def family_named(family: GearboxFamily) -> list[str]:
    return [family.name, "" if family.maker is None else family.maker.name]


def _positions(only: Design | None) -> Iterator[Row]:
    rows = Position.objects.order_by("design__uuid", "step").select_related("design")
    rows = rows.prefetch_related("aliases")
    for one in rows if only is None else rows.filter(design=only):
        aliases = sorted(alias.label for alias in one.aliases.all())
        yield str(one.design.uuid), one.step, one.label, one.name, one.releases_starter, aliases


def _pins(only: Design | None) -> Iterator[Row]:
    rows = Pin.objects.order_by("connector__design__uuid", "order").select_related("connector__design")
    found = list(rows if only is None else rows.filter(connector__design=only))
    made: dict[int, int] = {}
    counts: dict[int, int] = {}
    for one in sorted(found, key=lambda pin: pin.pk):
        made[one.pk] = counts[one.connector_id] = counts.get(one.connector_id, 0) + 1
    for one in found:
        design = str(one.connector.design.uuid)
        yield design, one.order, one.label, one.row, one.column, one.empty, one.line_name, made[one.pk]


def _applications(only: Design | None) -> Iterator[Row]:
    rows = Application.objects.order_by("design__uuid", "vehicle", "year_from", "year_to", "pk")
    rows = rows.select_related("design", "family__maker")
    row, before = 0, None
    for one in rows if only is None else rows.filter(design=only):
        row, before = (row + 1 if one.design_id == before else 1), one.design_id
        family = [] if one.family is None else family_named(one.family)
        yield str(one.design.uuid), row, one.vehicle, family, one.year_from, one.year_to


def _part_numbers(only: Design | None) -> Iterator[Row]:
    rows = PartNumber.objects.order_by("uuid").select_related("merged_into").prefetch_related("designs")
    for one in rows if only is None else rows.filter(pk__in=_parts_of(only)):
        merged = "" if one.merged_into is None else str(one.merged_into.uuid)
        designs = sorted(str(design.uuid) for design in one.designs.all())
        yield str(one.uuid), one.origin, one.number, one.source_class, designs, merged


def _supersessions(only: Design | None) -> Iterator[Row]:
    rows = Supersession.objects.order_by("uuid").select_related("older", "newer")
    if only is not None:
        parts = _parts_of(only)
        rows = rows.filter(older__in=parts, newer__in=parts)
    for one in rows:
        yield str(one.uuid), one.origin, str(one.older.uuid), str(one.newer.uuid), one.same_pattern


def _parts_of(design: Design) -> list[int]:
    """Numbers of the design, of its units, those they went into, and their neighbours in the line."""
    parts = set(design.part_numbers.values_list("pk", flat=True))
    parts |= set(design.units.exclude(part_number=None).values_list("part_number", flat=True))
    links = Supersession.objects.filter(older__in=parts) | Supersession.objects.filter(newer__in=parts)
    for older, newer in links.values_list("older", "newer"):
        parts |= {older, newer}
    merged = PartNumber.objects.filter(pk__in=parts).values_list("merged_into", flat=True)
    return sorted(parts | {pk for pk in merged if pk is not None})


def _variants(only: Design | None) -> Iterator[Row]:
    rows = Variant.objects.order_by("design__uuid", "key").select_related("design")
    for one in rows if only is None else rows.filter(design=only):
        at = (str(one.design.uuid), one.key, one.origin, str(one.uuid))
        yield *at, one.table, one.date_code_from, one.date_code_to


CATALOGUE: dict[str, Callable[[Design | None], Iterator[Row]]] = {
    "designs": _designs,
    "positions": _positions,
    "pins": _pins,
    "applications": _applications,
    "part_numbers": _part_numbers,
    "supersessions": _supersessions,
    "variants": _variants,
}
