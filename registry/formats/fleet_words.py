"""Sentences about a vehicle of the due list, and the list as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.utils.formats import date_format

from registry.formats.figures import distance_text, share_text
from registry.formats.safe_cells import safe_text
from registry.translation import gettext as _

if TYPE_CHECKING:
    from registry.selectors.fleet import DueLine

COLUMNS = (
    "label",
    "design",
    "vehicle_km",
    "read_on",
    "unit_km",
    "chance",
    "waiting_cost",
    "due_km",
    "due_on",
)


def chance_says(line: DueLine, next_km: float, unit: str = "km") -> str:
    """“Fails within the next 10 000 km with a chance of 12 %.”"""
    if line.unit_km is None:
        return _("When its unit was fitted is not known.")
    if line.chance is None:
        return _("How long such units last is not known yet.")
    return _("Fails within the next {distance} with a chance of {share}.").format(
        distance=distance_text(next_km, unit), share=share_text(line.chance)
    )


def due_says(line: DueLine, unit: str = "km") -> str:
    """“Due in 4 000 km, about March 1, 2027.”"""
    if line.due_km is None:
        return ""
    if line.due_km <= 0:
        return _("Due since {distance}.").format(distance=distance_text(-line.due_km, unit))
    if line.due_on is None:
        return _("Due in {distance}.").format(distance=distance_text(line.due_km, unit))
    return _("Due in {distance}, about {day}.").format(
        distance=distance_text(line.due_km, unit), day=date_format(line.due_on)
    )


def due_csv(lines: Iterable[DueLine]) -> str:
    """Distances in km, chances as shares; what could pass for a formula is made harmless."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(COLUMNS)
    writer.writerows(
        [
            safe_text(line.vehicle.label),
            safe_text(line.vehicle.design.name) if line.vehicle.design else "",
            _figure(line.vehicle_km),
            line.read_on.isoformat() if line.read_on else "",
            _figure(line.unit_km),
            "" if line.chance is None else f"{line.chance:.4f}",
            "" if line.waiting is None else f"{line.waiting:.2f}",
            _figure(line.due_km),
            line.due_on.isoformat() if line.due_on else "",
        ]
        for line in lines
    )
    return out.getvalue()


def _figure(km: float | None) -> str:
    return "" if km is None else f"{km:.0f}"
