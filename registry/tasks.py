"""Queued calls of services.  Each is idempotent: a task that ran half, or twice, does no harm."""

from __future__ import annotations

from django_tasks import task


@task()
def refresh_chart(design_id: int) -> None:
    from registry.services.refreshes import refresh_run

    refresh_run(design_id=design_id)


@task()
def send_webhooks() -> None:
    from registry.services.webhook_sending import deliveries_task

    deliveries_task()


@task()
def do_work(uuid: str) -> None:
    from registry.services.work import work_run

    work_run(uuid=uuid)


@task()
def write_open_data() -> None:
    from registry.services.open_data import open_data_due, open_data_write

    if open_data_due():
        open_data_write()
