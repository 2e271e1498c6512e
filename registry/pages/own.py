"""My readings: my own charts, shared by private link if I want; my habits; what I was asked; my data."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse

from registry.models import Contributor, Design, User
from registry.pages.certainty import how_sure
from registry.pages.pattern import Shape, pattern_tables
from registry.selectors.chart_page import design_by_uuid
from registry.selectors.own_page import designs_read_by, findings_counted, rereads_asked_of
from registry.services.accounts import contributor_of
from registry.services.habits import habits_of
from registry.services.own_evidence import (
    account_data,
    own_chart,
    own_chart_link,
    own_chart_of_link,
)


@login_required
def own(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    designs = list(designs_read_by(request.user))
    charts = [design.current_chart for design in designs if hasattr(design, "current_chart")]
    context = {
        "page": "mine",
        "designs": designs,
        "charts": len(charts),
        "cells_agreed": sum(chart.cells_agreed for chart in charts),
        "findings": findings_counted(request.user),
        "habits": habits_of(contributor_of(request.user), by=request.user),
        "rereads": rereads_asked_of(request.user),
    }
    return render(request, "contributor/own.html", context)


@login_required
def own_design(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The pattern of one's own units alone, and the private link to it."""
    assert isinstance(request.user, User)
    me, shown = contributor_of(request.user), _design(uuid)
    link = request.build_absolute_uri(reverse("own_shared", args=[own_chart_link(me, shown)]))
    return _chart_page(request, me, shown, link)


def own_shared(request: HttpRequest, token: str) -> HttpResponse:
    """The same for whoever has the link."""
    found = own_chart_of_link(token)
    if found is None:
        raise Http404
    response = _chart_page(request, found[0], _design(found[1].uuid), "")
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response


@login_required
def data(request: HttpRequest) -> JsonResponse:
    """All that is kept of one's account, as a file."""
    assert isinstance(request.user, User)
    response = JsonResponse(account_data(by=request.user), json_dumps_params={"indent": 1})
    response["Content-Disposition"] = 'attachment; filename="benchquorum-account.json"'
    response["Cache-Control"] = "no-store"
    return response


def _chart_page(request: HttpRequest, whose: Contributor, shown: Design, link: str) -> HttpResponse:
    content = own_chart(whose, shown)
    shape = Shape.of(shown, content)
    variant = content["variants"][0] if content and content["variants"] else None
    context = {
        "page": "mine",
        "design": shown,
        "shape": shape,
        "whose": whose,
        "link": link,
        "variant": variant,
        "how_sure": how_sure(variant) if variant else "",
        "tables": pattern_tables(shape, variant["cells"]) if variant else [],
    }
    return render(request, "contributor/own_design.html", context)


def _design(uuid: UUID) -> Design:
    shown = design_by_uuid(uuid)
    if shown is None:
        raise Http404
    return shown
