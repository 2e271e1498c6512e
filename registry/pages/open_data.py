"""Open data: what is in the nightly file, the file, and the published chain beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import condition

from registry.services.chain_file import CHAIN, chain_file
from registry.services.open_data import FILE, open_data_file


def open_data(request: HttpRequest) -> HttpResponse:
    context = {"page": "about", "file": open_data_file(), "name": FILE, "chain": chain_file()}
    return render(request, "words/open_data.html", {**context, "chain_name": CHAIN})


def _etag(_request: HttpRequest) -> str | None:
    there = open_data_file()
    return None if there is None else f'"{there.digest}"'


@condition(etag_func=_etag)
def open_data_zip(_request: HttpRequest) -> HttpResponseBase:
    there = open_data_file()
    if there is None:
        raise Http404
    return _file(there.path)


def _chain_etag(_request: HttpRequest) -> str | None:
    there = chain_file()
    return None if there is None else f'"{there.hash}"'


@condition(etag_func=_chain_etag)
def open_data_chain(_request: HttpRequest) -> HttpResponseBase:
    """Its last hash names all of it."""
    there = chain_file()
    if there is None:
        raise Http404
    return _file(there.path, content_type="application/jsonl")


def _file(path: Path, content_type: str | None = None) -> HttpResponseBase:
    response: Any = FileResponse(
        path.open("rb"), as_attachment=True, filename=path.name, content_type=content_type
    )
    response["Cache-Control"] = "public, max-age=3600"
    response["Access-Control-Allow-Origin"] = "*"
    return response


urlpatterns = [
    path("open-data/", open_data, name="open_data"),
    path(f"open-data/{FILE}", open_data_zip, name="open_data_zip"),
    path(f"open-data/{CHAIN}", open_data_chain, name="open_data_chain"),
]
