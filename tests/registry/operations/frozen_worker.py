"""A worker that is in the middle of a refresh: it says so, and goes on for as long as it is let."""

from __future__ import annotations

import sys
import time

import django


def main(design_id: int) -> None:
    django.setup()
    from django.db import transaction

    from registry.services.charts import _hold_refresh
    from registry.services.workers import beat, line_of_tasks

    beat(worker_id="frozen", line=line_of_tasks())
    with transaction.atomic():
        _hold_refresh(design_id)
        print("computes", flush=True)
        time.sleep(600)


if __name__ == "__main__":
    main(int(sys.argv[1]))
