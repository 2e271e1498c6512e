"""Queued calls of services.  Each is idempotent: a task that ran half, or twice, does no harm."""

from __future__ import annotations

from typing import Any

from django_tasks import task


@task()
def refresh_chart(design_id: int) -> None:
    from registry.services.refreshes import refresh_run

    refresh_run(design_id=design_id)


@task()
def send_webhooks() -> None:
    from registry.services.webhooks.sending import deliveries_task

    deliveries_task()


@task()
def do_work(uuid: str) -> None:
    from registry.services.work import work_run

    work_run(uuid=uuid)


@task()
def learn_snapshot() -> None:
    from registry.services.snapshot_queue import snapshot_apply

    snapshot_apply()


@task(priority=10)  # somebody sits and waits for the link in it
def send_mail(message: dict[str, Any], tries: int) -> None:
    from registry.services.mail import mail_try

    mail_try(message, tries)
