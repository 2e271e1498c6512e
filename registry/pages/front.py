"""The front page, the search and the page on how this works."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.selectors.designs import search_designs, split_query
from registry.selectors.front_page import changed_lately, registry_counts

A_PAGE = 20
HEAVY = ("current_chart__revision__content", "current_chart__revision__inputs")


def front(request: HttpRequest) -> HttpResponse:
    context = {"page": "front", "lately": changed_lately(), "counts": registry_counts()}
    return render(request, "technician/front.html", context)


def search(request: HttpRequest) -> HttpResponse:
    query = request.GET.get("q", "").replace("\0", "").strip()[:200]
    _words, shape = split_query(query)
    pages = Paginator(search_designs(query).defer(*HEAVY), A_PAGE)
    context = {
        "page": "search",
        "query": query,
        "shape": shape,
        "for_bench": request.GET.get("for") == "bench",
        "results": pages.get_page(request.GET.get("page", 1)),
    }
    return render(request, "technician/search.html", context)


def about(request: HttpRequest) -> HttpResponse:
    return render(request, "words/about.html", {"page": "about"})
