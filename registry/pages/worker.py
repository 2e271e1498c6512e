"""The service worker: bench sheets open without a network, with the files they were opened with before.

Its text names the version of every file that it keeps, so that a new version of one is fetched at once.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.templatetags.static import static

KEPT = (
    "benchquorum/style.css",
    "benchquorum/icon.svg",
    "benchquorum/worker.js",
    "benchquorum/bench/bench.js",
    "benchquorum/bench/drafts.js",
    "benchquorum/bench/grid.js",
    "benchquorum/bench/one.js",
    "benchquorum/bench/outbox.js",
    "benchquorum/bench/pictures.js",
    "benchquorum/bench/queue.js",
    "benchquorum/bench/reading.js",
    "benchquorum/bench/speech.js",
    "benchquorum/chart.js",
    "benchquorum/offline/curves.js",
    "benchquorum/offline/figures.js",
    "benchquorum/offline/here.js",
    "benchquorum/offline/keep.js",
    "benchquorum/offline/list.js",
    "benchquorum/offline/next.js",
    "benchquorum/offline/store.js",
    "benchquorum/offline/sums.js",
    "benchquorum/offline/verdict.js",
    "benchquorum/vendor/htmx/htmx.min.js",
    "benchquorum/vendor/idb/index.js",
)


def service_worker(request: HttpRequest) -> HttpResponse:
    """Served at the root, since a worker rules no wider than its own address."""
    response = HttpResponse(_text(), content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    return response


def offline(request: HttpRequest) -> HttpResponse:
    """What stands where a page was never opened before."""
    return render(request, "words/offline.html")


@lru_cache(maxsize=1)
def _text() -> str:
    contents = [_content(name) for name in KEPT]
    version = hashlib.sha256(b"".join(contents)).hexdigest()[:16]
    head = json.dumps({"version": version, "files": [static(name) for name in KEPT]})
    return f"const KEPT = {head};\n{contents[KEPT.index('benchquorum/worker.js')].decode()}"


def _content(name: str) -> bytes:
    found = finders.find(name)
    assert isinstance(found, str), name
    return Path(found).read_bytes()
