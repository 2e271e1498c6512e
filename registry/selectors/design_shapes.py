"""The shape of designs, as their charts' frozen inputs name it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from registry.models import Connector, Design, Pin, Position


def design_shape(design: Design) -> dict[str, Any]:
    """Positions in detent order, pins in connector order, the common, the start positions."""
    return design_shapes([design])[design.pk]


def design_shapes(designs: Sequence[Design]) -> dict[int, dict[str, Any]]:
    """The shape of each, by its id."""
    ids = [design.pk for design in designs]
    positions: dict[int, list[tuple[str, bool]]] = defaultdict(list)
    steps = Position.objects.filter(design__in=ids).order_by("step")
    for design, label, starts in steps.values_list("design_id", "label", "releases_starter"):
        positions[design].append((label, starts))
    pins: dict[int, list[str]] = defaultdict(list)
    cavities = Pin.objects.filter(connector__design__in=ids, empty=False).order_by("order")
    for design, label in cavities.values_list("connector__design_id", "label"):
        pins[design].append(label)
    commons = dict(Connector.objects.filter(design__in=ids).values_list("design_id", "common__label"))
    return {
        design.pk: {
            "uuid": str(design.uuid),
            "name": design.name,
            "positions": [label for label, _starts in positions[design.pk]],
            "pins": pins[design.pk],
            "common": commons.get(design.pk),
            "start_positions": [label for label, starts in positions[design.pk] if starts]
            if design.start_known
            else None,
        }
        for design in designs
    }
