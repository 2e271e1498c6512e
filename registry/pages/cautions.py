"""The page of all cautions, each with its longer words."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.formats.cautions import CAUTIONS, SIGNS, Caution, cautions_for

__all__ = ["CAUTIONS", "SIGNS", "Caution", "cautions", "cautions_for"]


def cautions(request: HttpRequest) -> HttpResponse:
    order = list(SIGNS)
    listed = sorted(CAUTIONS, key=lambda c: order.index(c.sign))
    return render(request, "words/cautions.html", {"cautions": listed})
