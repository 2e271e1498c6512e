"""Queued calls of services.  Each is idempotent: a task that ran half, or twice, does no harm."""

from __future__ import annotations

from django_tasks import task


@task()
def refresh_chart(design_id: int) -> None:
    from registry.services.refreshes import refresh_run

    refresh_run(design_id=design_id)
