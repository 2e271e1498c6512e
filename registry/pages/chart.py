"""The page of a design with its chart, a revision at its own address, two revisions side by side."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

import segno
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from registry.formats.figures import cell_text
from registry.formats.sentences import standing_message
from registry.models import ChartRevision, Design
from registry.pages.cautions import cautions_for
from registry.pages.certainty import how_sure, what_would_help
from registry.pages.chart_kept import kept_for_guests, kept_pieces
from registry.pages.code_facts import facts_for
from registry.pages.kept_words import kept_words
from registry.pages.pattern import Shape, pattern_tables
from registry.pages.strip_plot import strip_plot
from registry.selectors.chart_difference import chart_difference
from registry.selectors.chart_page import (
    cell_readings,
    design_by_uuid,
    follow_of,
    history_of,
    revision_numbered,
    revision_waits,
)
from registry.services.recall import revision_fetched
from registry.templatetags.pattern import cell_key

LATEST = 8


@kept_for_guests
def design(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The design and the chart that is shown now; a merged design leads to the one it went into."""
    pieces = kept_pieces(request, uuid, lambda: _current_context(request, _design(uuid)))
    if pieces:
        context: dict[str, Any] = {
            "page": "search",
            "pieces": pieces,
            "design": {"name": pieces["name"], "uuid": uuid},
            "kept_words": kept_words() if pieces["charted"] else None,
        }
    else:
        shown = _design(uuid)
        if shown.merged_into_id is not None:
            assert shown.merged_into is not None
            return redirect("design", shown.merged_into.uuid)
        context = _current_context(request, shown)
    context["follow"] = follow_of(request.user, uuid)
    return render(request, "technician/chart.html", context)


def _current_context(request: HttpRequest, shown: Design) -> dict[str, Any]:
    """Of the chart that is shown now, the same for everybody."""
    current = getattr(shown, "current_chart", None)
    context = _chart_context(request, shown, current.revision if current else None)
    context["waits"] = revision_waits(shown)
    context["kept_words"] = kept_words() if context["variant"] else None
    if context["variant"]:
        context["facts"] = facts_for(
            shown.uuid,
            context["variant"]["variant"],
            context["shape"].common,
            context["revision"].content_sha256,
        )
    return context


def revision(request: HttpRequest, uuid: UUID, number: int) -> HttpResponse:
    """One revision at its own address, as it was; a withdrawn one says so."""
    shown = _design(uuid)
    context = _chart_context(request, shown, _revision(shown, number))
    current = getattr(shown, "current_chart", None)
    revision_fetched(by=request.user, revision=context["revision"])
    context["only_revision"] = True
    context["newer"] = current.revision if current and current.revision.number != number else None
    return render(request, "technician/chart.html", context)


def compare(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What changed from one revision to another."""
    shown = _design(uuid)
    history = list(history_of(shown))
    numbers = [entry.number for entry in history]
    newer = _number(request.GET.get("to"), numbers, numbers[0] if numbers else None)
    older = _number(request.GET.get("from"), numbers, numbers[1] if len(numbers) > 1 else newer)
    context: dict[str, Any] = {"design": shown, "history": history, "older": older, "newer": newer}
    if older is not None and newer is not None:
        before, after = (_content(_revision(shown, number)) for number in (older, newer))
        context |= _difference(before, after)
    return render(request, "technician/compare.html", context)


def _difference(before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any]:
    """Variants that came or went, and the changed cells of each, those first whose state turned."""
    changes = chart_difference(before, after)
    cells: dict[str, list[dict[str, Any]]] = {v["variant"]: [] for v in after["variants"]}
    for cell in changes["cells"]:
        states = [(cell[side] or {}).get("state") for side in ("from", "to")]
        cells.setdefault(cell["variant"], []).append({**cell, "turned": states[0] != states[1]})
    return {
        "added": changes["variants_added"],
        "removed": changes["variants_removed"],
        "changed": [
            {"key": key, "cells": sorted(rows, key=lambda cell: not cell["turned"])}
            for key, rows in cells.items()
        ],
    }


def qr(request: HttpRequest, uuid: UUID, number: int) -> HttpResponse:
    """The address of a revision as a QR code, for the print."""
    address = request.build_absolute_uri(reverse("revision", args=[uuid, number]))
    code = segno.make(address, error="m").svg_inline(scale=3, border=2)
    response = HttpResponse(code.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1))
    response["Content-Type"] = "image/svg+xml"
    response["Cache-Control"] = "public, max-age=86400"
    return response


def _chart_context(request: HttpRequest, shown: Design, chart: ChartRevision | None) -> dict[str, Any]:
    content = None if chart is None else _content(chart)
    shape = Shape.of(shown, content)
    variants = content["variants"] if content else []
    variant = next((v for v in variants if v["variant"] == request.GET.get("variant")), None)
    variant = variant or (variants[0] if variants else None)
    chosen = _chosen(request, variant)
    return {
        "page": "search",
        "design": shown,
        "shape": shape,
        "revision": chart,
        "content": content,
        "variants": variants,
        "variant": variant,
        "variant_asked": variant["variant"] if variant and len(variants) > 1 else "",
        "tells": _tells(variants),
        "tables": pattern_tables(shape, variant["cells"] if variant else []),
        "how_sure": how_sure(variant) if variant else "",
        "what_would_help": what_would_help(variant, shape.common) if variant else "",
        "disputed": [c for c in variant["cells"] if c["standing"] == "disputed"] if variant else [],
        "chosen": None if chosen is None else cell_key(chosen),
        "detail": None if chosen is None else _detail(shown, shape, chosen),
        "history": list(history_of(shown)[: LATEST + 1]),
        "latest": LATEST,
        "cautions": cautions_for("check"),
    }


def _detail(shown: Design, shape: Shape, cell: dict[str, Any]) -> dict[str, Any]:
    """The readings behind a cell, newest chart's state as the measure."""
    place = {"position": cell["position"], "between": bool(cell.get("between"))}
    readings = list(cell_readings(shown, pins=[cell["pin"], cell["against"]], **place))
    accept = cell["ohm"]["accept"] if cell.get("ohm") else None
    return {
        "cell": cell,
        "name": cell_text(cell, shape.common),
        "query": urlencode(
            {**{n: cell[n] for n in ("position", "pin", "against")}, "between": place["between"]}
        ),
        "standing": standing_message(cell),
        "readings": readings,
        "plot": strip_plot(readings, cell["state"], accept) if readings else None,
        "accept": accept,
        "leak": cell.get("leak"),
    }


def _chosen(request: HttpRequest, variant: dict[str, Any] | None) -> dict[str, Any] | None:
    asked = {name: request.GET.get(name, "") for name in ("position", "pin", "against")}
    if variant is None or not asked["position"]:
        return None
    key = cell_key({**asked, "between": request.GET.get("between") == "1"})
    return next((cell for cell in variant["cells"] if cell_key(cell) == key), None)


def _tells(variants: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The places that tell the variants apart, each with its cell in every variant."""
    if len(variants) < 2:
        return []
    places = {cell_key(tell): tell for variant in variants for tell in variant.get("tells", [])}
    by_variant = [{cell_key(cell): cell for cell in variant["cells"]} for variant in variants]
    if not places:  # an older chart may not name them
        states = {key: {cells[key]["state"] for cells in by_variant if key in cells} for key in by_variant[0]}
        places = {key: by_variant[0][key] for key, seen in states.items() if len(seen) > 1}
    return [
        {"place": place, "cells": [cells.get(key) for cells in by_variant]} for key, place in places.items()
    ]


def _design(uuid: UUID) -> Design:
    shown = design_by_uuid(uuid)
    if shown is None:
        raise Http404
    return shown


def _revision(shown: Design, number: int) -> ChartRevision:
    found = revision_numbered(shown, number)
    if found is None:
        raise Http404
    return found


def _content(chart: ChartRevision) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(bytes(chart.content))
    return content


def _number(text: str | None, known: list[int], default: int | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() and int(text) in known else default
