"""What the API costs beside the plainest thing that Django can do with the same data.

Chart: body at most 1.6, 304 at most 1.3 times a JsonResponse of the same document behind the same middleware.
"""

from __future__ import annotations

import io
import json
import statistics
import time
from collections.abc import Iterable
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.http import HttpRequest, JsonResponse
from django.urls import path

from api.chart_bytes import current
from registry import urls as own
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body

ROUNDS = 300
DOCUMENT: dict[str, Any] = {}


def bare(request: HttpRequest) -> JsonResponse:
    return JsonResponse(DOCUMENT)


urlpatterns = [path("bare/", bare), *own.urlpatterns]


@pytest.fixture
def kept_connection() -> Iterable[None]:
    """As under CONN_MAX_AGE: a request opens no connection of its own."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def asked(server: WSGIHandler, address: str, tag: str = "") -> tuple[float, str, dict[str, str]]:
    """Seconds, status and headers of one request."""
    surroundings = {
        "REQUEST_METHOD": "GET",
        "PATH_INFO": address,
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "HTTP_HOST": "localhost",
        "REMOTE_ADDR": "127.0.0.1",
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(),
        **({"HTTP_IF_NONE_MATCH": tag} if tag else {}),
    }
    found: list[Any] = []
    began = time.perf_counter()
    response = server(surroundings, lambda status, headers: found.append((status, dict(headers))))
    b"".join(response)
    response.close()
    return time.perf_counter() - began, found[0][0], found[0][1]


@pytest.mark.django_db
def test_a_chart_costs_less_than_a_bare_answer(settings: Any, kept_connection: None) -> None:
    settings.ROOT_URLCONF = __name__
    settings.REST_FRAMEWORK = {
        **settings.REST_FRAMEWORK,
        "DEFAULT_THROTTLE_RATES": {"anon": "1000000/hour", "user": "1000000/hour"},
    }
    user = made_user()
    design = made_design(user)
    sheet_submit(by=user, body=sheet_body(design))
    chart_refresh(design_id=design.pk)
    made = current(design.uuid)
    assert made is not None
    DOCUMENT.update(json.loads(made.plain))
    server, address = WSGIHandler(), f"/api/v1/charts/{design.uuid}/"
    tag = asked(server, address)[2]["ETag"]
    assert asked(server, address, tag)[1].startswith("304")
    kinds = {"bare": ("/bare/", ""), "body": (address, ""), "304": (address, tag)}
    seconds: dict[str, list[float]] = {kind: [] for kind in kinds}
    for _ in range(ROUNDS):
        for kind, (where, with_tag) in kinds.items():
            seconds[kind].append(asked(server, where, with_tag)[0])
    median = {kind: statistics.median(values) for kind, values in seconds.items()}
    body, unchanged = median["body"] / median["bare"], median["304"] / median["bare"]
    print(
        f"\nchart: body {body:.2f}, 304 {unchanged:.2f} times a bare answer ({median['bare'] * 1e3:.2f} ms)"
    )
    assert body <= 1.6 and unchanged <= 1.3
