"""Open data: what is in the nightly file, the file, and the published chain beside it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import condition

from registry.services.chain_file import CHAIN, chain_file
from registry.services.packages.open_data import FILE, open_data_file

View = Callable[[HttpRequest], HttpResponseBase]


def open_data(request: HttpRequest) -> HttpResponse:
    context = {"page": "about", "file": open_data_file(), "name": FILE, "chain": chain_file()}
    return render(request, "words/open_data.html", {**context, "chain_name": CHAIN})


def _download(there: Callable[[], tuple[Path, str] | None], content_type: str | None) -> View:
    """The view of a file that is remade now and then; `there` tells its path and what names its bytes."""

    def tag(_request: HttpRequest) -> str | None:
        file = there()
        return None if file is None else f'"{file[1]}"'

    @condition(etag_func=tag)
    def view(_request: HttpRequest) -> HttpResponseBase:
        file = there()
        if file is None:
            raise Http404
        response: Any = FileResponse(file[0].open("rb"), as_attachment=True, content_type=content_type)
        response["Cache-Control"] = "public, max-age=3600"
        response["Access-Control-Allow-Origin"] = "*"
        return response

    return view


def _package() -> tuple[Path, str] | None:
    file = open_data_file()
    return None if file is None else (file.path, file.digest)


def _chain() -> tuple[Path, str] | None:
    """Its last hash names all of it."""
    file = chain_file()
    return None if file is None else (file.path, file.hash)


urlpatterns = [
    path("open-data/", open_data, name="open_data"),
    path(f"open-data/{FILE}", _download(_package, None), name="open_data_zip"),
    path(f"open-data/{CHAIN}", _download(_chain, "application/jsonl"), name="open_data_chain"),
]
