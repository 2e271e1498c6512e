"""What the chart page costs whoever signed in, beside a page of the same size without loops, in one run."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.test import Client
from django.urls import path
from django.utils.safestring import mark_safe

from registry import urls as own
from registry.models import Design, User
from registry.services.charts import chart_refresh
from tests.registry.pages.made import account, made_design, made_evidence

ROUNDS = 60
MOST = 3.0
CONTENT = {"main": ""}
SHELL = '{% extends "base.html" %}{% block content %}{{ main }}{% endblock %}'


def plain(request: HttpRequest) -> HttpResponse:
    page = engines["django"].from_string(SHELL)
    return HttpResponse(page.render({"main": mark_safe(CONTENT["main"])}, request))


urlpatterns = [path("plain/", plain), *own.urlpatterns]
handler400, handler403, handler404, handler500 = (
    own.handler400,
    own.handler403,
    own.handler404,
    own.handler500,
)


@pytest.fixture
def design(db: None) -> Design:
    design = made_design(account("proposer"))
    made_evidence(design, people=6)
    chart_refresh(design_id=design.pk)
    return design


@pytest.mark.parametrize("who", ["contributor", "guest"])
def test_chart_page_costs_at_most_three_plain_pages(design: Design, settings: Any, who: str) -> None:
    settings.ROOT_URLCONF = __name__
    client = Client()
    if who == "contributor":
        client.force_login(User.objects.get(email="proposer@workshop.example"))
    address = f"/designs/{design.uuid}/"
    page = client.get(address).content.decode()
    CONTENT["main"] = page.split('<main id="main" tabindex="-1">')[1].split("</main>")[0]
    size = len(client.get("/plain/").content)
    assert 0.9 < size / len(page.encode()) < 1.1
    ratios = []
    for _ in range(3):
        chart, bare = (_median(lambda at=at: client.get(at)) for at in (address, "/plain/"))
        ratios.append(chart / bare)
        print(f"{who}: chart {chart * 1e3:.1f} ms, plain {bare * 1e3:.1f} ms, ratio {chart / bare:.2f}")
    assert min(ratios) <= MOST


def _median(ask: Callable[[], Any]) -> float:
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        ask()
        took.append(time.perf_counter() - began)
    return statistics.median(took)
