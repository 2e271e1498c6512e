"""Blank sheets to print for any design, entered later under the number on them."""

from __future__ import annotations

import secrets
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from registry.formats.blank_sheet import BlankCavity, BlankSheet, blank_pdf
from registry.models import Design
from registry.pages.cautions import cautions_for
from registry.pages.sheet_grid import SheetGrid, sheet_grid
from registry.selectors.bench_page import chart_shown, design_for_bench

SIGNS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  # none that is taken for another in pencil


def blank(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A PDF with a number of its own each time."""
    design = design_for_bench(uuid)
    if design is None:
        raise Http404
    number = "B-" + "".join(secrets.choice(SIGNS) for _n in range(7))
    address = request.build_absolute_uri(reverse("bench", args=[uuid])) + f"?number={number}"
    response = HttpResponse(blank_pdf(_sheet(design, number, address)), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="bench-sheet-{number}.pdf"'
    response["Cache-Control"] = "no-store"
    return response


def _leads(grid: SheetGrid) -> str:
    if grid.common is None:
        return _("Each reading is between the two pins named.")
    return _("One lead stays on pin {pin}, the common.").format(pin=grid.common.label)


def _sheet(design: Design, number: str, address: str) -> BlankSheet:
    grid = sheet_grid(design, chart=chart_shown(design))
    connector = design.connector
    facing = {
        "into_switch": _("Drawn as you look into the switch."),
        "into_plug": _("Drawn as you look into the harness plug."),
    }
    return BlankSheet(
        design=design.name,
        number=number,
        address=address,
        cavities=[BlankCavity(pin.label, pin.row, pin.column, pin.empty) for pin in connector.pins.all()],
        landmark=connector.landmark,
        facing=" ".join(words for words in (facing.get(connector.viewing, ""), _leads(grid)) if words),
        columns=[
            _("Pin {pin}").format(pin=pin.label) if grid.common else f"{pin.label}–{against.label}"
            for pin, against in grid.pairs
        ],
        positions=[(position.label, position.name) for position in design.positions.all()],
        cautions=[f"{caution.word}: {caution.line}" for caution in cautions_for("bench")],
    )
