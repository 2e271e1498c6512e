"""Blank sheets to print for any design, entered later under the number on them."""

from __future__ import annotations

import secrets
from dataclasses import replace
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from registry.formats.blank_sheet import BlankSheet, blank_pdf
from registry.formats.print_parts import leads_words
from registry.models import Design
from registry.pages.cautions import cautions_for
from registry.pages.sheet_grid import sheet_grid
from registry.selectors.bench_page import chart_shown, design_for_bench
from registry.selectors.printed_face import printed_face

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


def _sheet(design: Design, number: str, address: str) -> BlankSheet:
    grid = sheet_grid(design, chart=chart_shown(design))
    face = printed_face(design)
    assert face is not None  # no design is without one
    words = [face.facing, leads_words(grid.common.label if grid.common else None)]
    return BlankSheet(
        design=design.name,
        number=number,
        address=address,
        face=replace(face, facing=" ".join(part for part in words if part)),
        columns=[
            _("Pin {pin}").format(pin=pin.label) if grid.common else f"{pin.label}–{against.label}"
            for pin, against in grid.pairs
        ],
        positions=[(position.label, position.name) for position in design.positions.all()],
        cautions=[f"{caution.word}: {caution.line}" for caution in cautions_for("bench")],
    )
