"""`benchquorum serve`: the production server (on the embedded database too)."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=int(os.environ.get("PORT") or 8000))
    parser.add_argument("--address", default=os.environ.get("BENCHQUORUM_ADDRESS", "127.0.0.1"))
    parser.add_argument("--workers", type=int, default=2)


def run(args: argparse.Namespace) -> int:
    from django.conf import settings

    from registry.services.refreshes import refresh_owed

    if settings.TASKS_QUEUE == "immediate":
        refresh_owed()  # what a stopped process left behind; with a queue, its workers see to it
    serve(address=args.address, port=args.port, workers=args.workers)
    return 0


def serve(*, address: str, port: int, workers: int = 2) -> None:
    """Become the server: this process is replaced by it."""
    from django.conf import settings
    from django.db import connections

    connections.close_all()
    # Where the server's processes leave their counts for /metrics; a new server starts from nought.
    os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", tempfile.mkdtemp(prefix="benchquorum-metrics-"))
    sys.stdout.flush()
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "registry.wsgi:application",
        f"--bind={address}:{port}",
        f"--workers={workers}",
        "--threads=4",
        "--max-requests=100000",  # a new process starts cold: it has every chart to decode again
        "--max-requests-jitter=20000",
        "--timeout=120",
        "--error-logfile=-",
        "--log-level=warning",
    ]
    if settings.LOG_FORMAT == "json":
        command.append("--logger-class=registry.server_log.ServerLog")
    os.execv(sys.executable, command)  # our own command line  # noqa: S606  # nosec B606
