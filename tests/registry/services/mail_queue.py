"""Mails that wait, and a worker that works them off."""

from __future__ import annotations

import smtplib
from datetime import timedelta

from django.core.mail import send_mail
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

WHOM = "reader@workshop.example"
GREYLISTED = smtplib.SMTPRecipientsRefused({WHOM: (451, b"later")})
NO_SUCH_BOX = smtplib.SMTPRecipientsRefused({WHOM: (550, b"who is reader@workshop.example?")})


def send(to: str = WHOM) -> None:
    send_mail("Your link", "https://registry.example/once/", None, [to])


def rows() -> list[DBTaskResult]:
    return list(DBTaskResult.objects.filter(task_path="registry.tasks.send_mail").order_by("enqueued_at"))


def work() -> int:
    """A worker works off what is ready; how many tasks."""
    done = 0
    while (row := DBTaskResult.objects.ready().first()) is not None:
        done += 1
        row.claim("worker")
        try:
            row.set_successful(row.task.call(*row.args_kwargs["args"]))
        except Exception as error:
            row.set_failed(error)
    return done


def later() -> None:
    DBTaskResult.objects.filter(status="READY").update(run_after=timezone.now() - timedelta(seconds=1))
