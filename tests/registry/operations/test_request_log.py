"""Request ids, log lines and metrics."""

from __future__ import annotations

import json
import logging
from typing import Any

import pytest
from django.test import Client

from registry.log_lines import JsonLines, request_id

pytestmark = pytest.mark.django_db


def test_an_id_that_a_proxy_gave_comes_back(client: Client) -> None:
    assert client.get("/health/live", headers={"X-Request-ID": "edge-0123456789"})["X-Request-ID"] == (
        "edge-0123456789"
    )


@pytest.mark.parametrize("given", ["", "short", "a" * 65, "line\\nbreak-in-it", 'with "quotes" in'])
def test_an_unfit_id_is_replaced(client: Client, given: str) -> None:
    answer = client.get("/health/live", headers={"X-Request-ID": given})["X-Request-ID"]
    assert answer != given and len(answer) == 32


def test_line_names_view_status_and_id_but_not_the_query(
    client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "registry.request"):
        client.get("/health/live?q=who-asks", headers={"X-Request-ID": "edge-0123456789"})
    line = JsonLines().format(caplog.records[-1])
    plain = json.loads(line)
    assert (plain["view"], plain["status"], plain["level"]) == ("health_live", 200, "INFO")
    assert "who-asks" not in line


def test_line_does_not_hold_the_token_of_a_private_link(
    client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "registry.request"):
        client.get("/jobs/link/a-secret-of-ours/")
    assert caplog.records[-1].getMessage() == "GET /jobs/link/…/"


def test_an_error_is_one_line_with_its_trace() -> None:
    token = request_id.set("edge-0123456789")
    try:
        raise ZeroDivisionError("no such share")
    except ZeroDivisionError:
        record = logging.getLogger("x").makeRecord("x", 40, "f", 1, "failed %s", ("twice",), _trace())
    line = JsonLines().format(record)
    request_id.reset(token)
    assert "\n" not in line
    plain = json.loads(line)
    assert plain["request_id"] == "edge-0123456789"
    assert "no such share" in plain["error"]


def _trace() -> Any:
    import sys

    return sys.exc_info()


def test_metrics_count_requests_and_what_is_owed(client: Client) -> None:
    client.get("/health/live")
    text = client.get("/metrics").content.decode()
    assert 'benchquorum_requests_total{method="GET",status="200",view="health_live"}' in text
    assert "benchquorum_designs_parked 0.0" in text
    assert "benchquorum_request_seconds_bucket" in text


def test_metrics_are_for_this_machine_only(client: Client) -> None:
    assert client.get("/metrics", REMOTE_ADDR="192.0.2.7").status_code == 404
    assert client.get("/metrics", headers={"X-Forwarded-For": "192.0.2.7"}).status_code == 404


def test_metrics_for_whoever_has_the_token(client: Client, settings: Any) -> None:
    settings.BENCHQUORUM_METRICS_TOKEN = "a long secret"
    assert client.get("/metrics").status_code == 404
    given = {"Authorization": "Bearer a long secret"}
    assert client.get("/metrics", headers=given, REMOTE_ADDR="192.0.2.7").status_code == 200
