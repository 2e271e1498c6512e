"""/metrics for Prometheus: requests, and what the machine room has to look after."""

from __future__ import annotations

import os
from collections.abc import Iterator
from hmac import compare_digest

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector

from registry.selectors.backlog import Backlog, backlog, since_ended_well

SEVERAL = "PROMETHEUS_MULTIPROC_DIR"  # where the server's processes leave their counts; `serve` sets it
LOOPBACK = ("127.0.0.1", "::1")


class Owed:
    """Gauges read from the database when asked."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        now: Backlog = backlog()
        yield GaugeMetricFamily("benchquorum_queue_ready", "Tasks that wait", value=now.ready)
        yield GaugeMetricFamily("benchquorum_queue_running", "Tasks being done", value=now.running)
        yield GaugeMetricFamily("benchquorum_queue_failed", "Tasks that failed, last day", value=now.failed)
        yield GaugeMetricFamily(
            "benchquorum_queue_oldest_seconds",
            "Age of the task that waits longest, s",
            value=now.oldest_seconds,
        )
        yield GaugeMetricFamily(
            "benchquorum_mail_waiting", "Mails not sent yet, those to be tried again too", value=now.mails
        )
        yield GaugeMetricFamily("benchquorum_workers", "Workers that live", value=now.workers)
        yield GaugeMetricFamily("benchquorum_designs_stale", "Designs owed a new chart", value=now.stale)
        yield GaugeMetricFamily(
            "benchquorum_designs_parked", "Designs parked after failures", value=now.parked
        )
        yield GaugeMetricFamily(
            "benchquorum_revisions_held", "Revisions held for a moderator", value=now.held
        )
        ended = GaugeMetricFamily(
            "benchquorum_ended_well_seconds",
            "Since the command last ended well, s; +Inf where it never did",
            labels=["command"],
        )
        for command, seconds in since_ended_well().items():
            ended.add_metric([command], seconds)
        yield ended


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """With BENCHQUORUM_METRICS_TOKEN, for whoever has it; without, for this machine only."""
    if not _may(request):
        raise Http404
    registry = CollectorRegistry()
    registry.register(Owed())
    if os.environ.get(SEVERAL):
        MultiProcessCollector(registry)
        text = generate_latest(registry)
    else:
        text = generate_latest(REGISTRY) + generate_latest(registry)
    return HttpResponse(text, content_type=CONTENT_TYPE_LATEST)


def _may(request: HttpRequest) -> bool:
    token = settings.BENCHQUORUM_METRICS_TOKEN
    if token:
        given = request.headers.get("Authorization", "")
        return compare_digest(given.encode(errors="replace"), f"Bearer {token}".encode())
    # Through a proxy on the same machine the whole world comes from the loopback address.
    forwarded = any(name in request.headers for name in ("X-Forwarded-For", "Forwarded", "X-Real-IP"))
    return request.META.get("REMOTE_ADDR") in LOOPBACK and not forwarded
