"""Open data: what is in the nightly file, and the file."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import condition

from registry.services.open_data import FILE, open_data_file


def open_data(request: HttpRequest) -> HttpResponse:
    return render(request, "words/open_data.html", {"page": "about", "file": open_data_file(), "name": FILE})


def _etag(_request: HttpRequest) -> str | None:
    there = open_data_file()
    return None if there is None else f'"{there.digest}"'


@condition(etag_func=_etag)
def open_data_zip(_request: HttpRequest) -> HttpResponseBase:
    there = open_data_file()
    if there is None:
        raise Http404
    response: Any = FileResponse(there.path.open("rb"), as_attachment=True, filename=FILE)
    response["Cache-Control"] = "public, max-age=3600"
    response["Access-Control-Allow-Origin"] = "*"
    return response


urlpatterns = [
    path("open-data/", open_data, name="open_data"),
    path(f"open-data/{FILE}", open_data_zip, name="open_data_zip"),
]
