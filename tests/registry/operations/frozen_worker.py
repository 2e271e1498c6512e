"""A worker that is in the middle of a refresh: it says so, and goes on for as long as it is let."""

from __future__ import annotations

import sys
import time
from types import SimpleNamespace

import django


def main(design_id: int) -> None:
    django.setup()
    from django.db import connection, transaction

    from registry.commands.work import Care
    from registry.services import workers
    from registry.services.charts import _hold_refresh

    connection.ensure_connection()
    workers.lines_named(worker_id="frozen")
    workers.round_of_care = lambda: None  # it takes over nothing itself
    care = Care(SimpleNamespace(worker_id="frozen", task_since=None), task_seconds=600, silent_seconds=2.0)
    care.start()
    connection.close()  # as when its age is over: the next one has another process at its end
    with transaction.atomic():
        _hold_refresh(design_id)
        time.sleep(0.5)  # the other thread has said something over its own line
        print("computes", flush=True)
        time.sleep(600)


if __name__ == "__main__":
    main(int(sys.argv[1]))
