"""Queued calls of services.  Each is idempotent: a task that ran half, or twice, does no harm."""

from __future__ import annotations

from django_tasks import task


@task()
def refresh_chart(design_id: int) -> None:
    from registry.services.refreshes import refresh_run

    refresh_run(design_id=design_id)


@task()
def write_open_data() -> None:
    from registry.services.open_data import open_data_due, open_data_write

    if open_data_due():
        open_data_write()
