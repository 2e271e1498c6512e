"""Mail waits in the queue's table until a mail server has taken it.

It is written there in the transaction of what it tells of, so it goes out if and only if that was stored.
Nobody who signs up waits for a mail server, and one that is down loses nothing: workers send; where there is
no queue, this process does right after the commit, and `benchquorum due` sends what could not go then.

A message has an address in it, and may have a link that opens an account.  What was sent or given up is gone
with the next round of a worker (10 s), or the next `benchquorum due`; given up is what could not be sent for
21 hours.  When it was written down first is `enqueued_at`, which goes with it from try to try.
"""

from __future__ import annotations

import logging
import re
import smtplib
import time
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from email.utils import make_msgid
from functools import partial
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMessage, EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult
from django_tasks_db.models import get_date_max as at_once

from registry.tasks import send_mail

log = logging.getLogger("registry.mail")
# Seconds until the next try after the first, second, … failed one; after the last it is given up.
PAUSES = (10, 60, 300, 1800, 7200, 21600, 43200)
KEPT = timedelta(hours=21)  # given up then, though rests may have left it fewer tries
REST = 60.0  # s without a try after a server did not answer: each costs up to a timeout of this process
LEASE = timedelta(seconds=120)  # a process killed while it sends: tried again after so long
EMPTY: dict[str, Any] = {"args": [], "kwargs": {}}
Plain = dict[str, Any]
_rest_until = 0.0  # by the monotonic clock


class MailGivenUp(Exception):
    """Without what the server said: it would say the address again."""


GIVEN_UP = f"{MailGivenUp.__module__}.{MailGivenUp.__qualname__}"
WORKERS_DIED = "RuntimeError: its workers died\n"  # the end of what `tasks_take_over` leaves
# Not the mailbox: policy (no relaying, say) and the sender's own address.  Whoever runs a server mends these.
NOT_THE_BOX = re.compile(rb"5\.(7\.|1\.[78]\b)")


class Outbox(BaseEmailBackend):
    """Django's way to it: whoever sends mail, packages too, writes it down here."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        plain = [message_plain(message) for message in email_messages]
        with transaction.atomic():
            for message in plain:
                row = _put(message, tries=0, at=at_once())
                if settings.TASKS_QUEUE == "immediate":
                    transaction.on_commit(partial(_send_here, row), robust=True)
        return len(plain)


def message_plain(message: EmailMessage) -> Plain:
    """As it is kept.  The same message sent twice, by a worker that died of it, has the same id."""
    if message.attachments:
        raise ValueError("mail that waits has no attachments")
    headers = {"Message-ID": make_msgid(domain=message.from_email.rpartition("@")[2].rstrip("> "))}
    for name, value in message.extra_headers.items():
        headers["Message-ID" if name.lower() == "message-id" else name] = str(value)
    return {
        "subject": str(message.subject),
        "body": str(message.body),
        "from_email": message.from_email,
        "to": list(message.to),
        "cc": list(message.cc),
        "bcc": list(message.bcc),
        "reply_to": list(message.reply_to),
        "headers": headers,
        "alternatives": [[str(text), kind] for text, kind in getattr(message, "alternatives", [])],
    }


def _put(message: Plain, *, tries: int, at: datetime, since: datetime | None = None) -> UUID:
    """By hand: in the embedded default the queue's own call would send it within the transaction."""
    row = DBTaskResult.objects.create(
        task_path=send_mail.module_path,
        args_kwargs={"args": [message, tries], "kwargs": {}},
        priority=send_mail.priority,
        backend_name=send_mail.backend,
        run_after=at,
    )
    if since is not None:
        DBTaskResult.objects.filter(pk=row.pk).update(enqueued_at=since)
    return UUID(str(row.pk))


def mail_try(message: Plain, tries: int) -> None:
    """One try, as a worker runs it; what can't go now has a new task for later.  Raises MailGivenUp."""
    if _rest_left():
        _put_all_off()
        with transaction.atomic():
            since = _since(message)
            if since is not None:
                _put(message, tries=tries, at=_rest_end(), since=since)
        return
    error = _sent(message)
    if error is None:
        return
    if _rest_left():
        _put_all_off()
    kind = type(error).__name__
    with transaction.atomic():
        since = _since(message)
        if since is None:
            return
        at = None if is_final(error) else _next_try(tries, since)
        if at is not None:
            log.warning("a mail could not be sent: %s; try %s is at %s", kind, tries + 2, at)
            _put(message, tries=tries + 1, at=at, since=since)
            return
    log.error("a mail is given up after %s tries: %s", tries + 1, kind)
    raise MailGivenUp(kind)


def _since(message: Plain) -> datetime | None:
    """When the message that is being tried was written down; None: its account was erased meanwhile.

    An erasure waits for the end of the transaction that asks, and then finds what was put again.
    """
    own = {"args_kwargs__args__0__headers__Message-ID": message["headers"]["Message-ID"]}
    row = _mails().select_for_update(no_key=True).filter(**own).first()
    return None if row is None else row.enqueued_at


def _next_try(tries: int, since: datetime) -> datetime | None:
    """After so many failed ones before this one; None: it is given up."""
    now, end = timezone.now(), since + KEPT
    if tries >= len(PAUSES) or now >= end:
        return None
    return min(now + timedelta(seconds=PAUSES[tries]), end)


def _rest_left() -> float:
    return max(0.0, _rest_until - time.monotonic())


def _rest_end() -> datetime:
    return timezone.now() + timedelta(seconds=_rest_left() + 1)


def _put_all_off() -> None:
    """At once, however many wait: each by itself would keep the workers from their other tasks."""
    old = _give_up(_waiting().filter(enqueued_at__lte=timezone.now() - KEPT))
    if old:
        log.error("%s mails are given up that waited for %s: no server answers", old, KEPT)
    _waiting().update(run_after=_rest_end())


def _give_up(rows: Any) -> int:
    given_up: int = rows.update(
        status=TaskResultStatus.FAILED,
        finished_at=timezone.now(),
        exception_class_path=GIVEN_UP,
        traceback="",
        args_kwargs=EMPTY,
    )
    return given_up


def _sent(message: Plain) -> Exception | None:
    global _rest_until
    try:
        connection = get_connection(settings.BENCHQUORUM_EMAIL_BACKEND)
        EmailMultiAlternatives(**message, connection=connection).send()
    except Exception as error:
        if isinstance(error, OSError) and not _is_about_the_message(error):
            _rest_until = time.monotonic() + REST
        return error
    return None


def _is_about_the_message(error: Exception) -> bool:
    about = (smtplib.SMTPRecipientsRefused, smtplib.SMTPSenderRefused, smtplib.SMTPDataError)
    return isinstance(error, about)


def is_final(error: Exception) -> bool:
    """Whether the server will say the same whenever it is asked: no such mailbox."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(_no_such_box(code, said) for code, said in error.recipients.values())
    return isinstance(error, smtplib.SMTPDataError) and _no_such_box(error.smtp_code, error.smtp_error)


def _no_such_box(code: int, said: bytes | str) -> bool:
    """By RFC 5321 (the code) and RFC 3463 (what stands before the words)."""
    words = said.encode() if isinstance(said, str) else said
    if NOT_THE_BOX.match(words):
        return False
    return code in (550, 551, 553) or words.startswith(b"5.1.")


def _send_here(pk: UUID) -> None:
    """Where there is no queue.  The row is held for this process alone, without a transaction meanwhile."""
    now = timezone.now()
    if not _waiting().filter(pk=pk).update(run_after=now + LEASE):
        return
    row = DBTaskResult.objects.get(pk=pk)
    try:
        mail_try(*row.args_kwargs["args"])
    except MailGivenUp:
        _give_up(_mails().filter(pk=pk))
    else:
        row.delete()


def mail_owed() -> int:
    """What a killed process left, or a server refused for a time; how many were tried."""
    mail_forget()
    if settings.TASKS_QUEUE != "immediate":
        return 0
    tried = 0
    for pk in list(_waiting().order_by("enqueued_at").values_list("pk", flat=True)):
        if time.monotonic() < _rest_until:
            break
        _send_here(pk)
        tried += 1
    return tried


def _mails() -> Any:
    return DBTaskResult.objects.filter(task_path=send_mail.module_path)


def _waiting() -> Any:
    return DBTaskResult.objects.ready().filter(task_path=send_mail.module_path)


def mail_forget() -> None:
    """Of what was sent nothing is left; of what was given up, that it was.

    Any other end is no word about the mail (a worker older than its task, one told to stop twice, an error of
    ours), and counts as a try.
    """
    _mails().filter(status=TaskResultStatus.SUCCESSFUL).delete()
    failed = _mails().filter(status=TaskResultStatus.FAILED).exclude(args_kwargs=EMPTY)
    over = Q(exception_class_path=GIVEN_UP) | Q(traceback__endswith=WORKERS_DIED)
    failed.filter(over).update(args_kwargs=EMPTY)
    with transaction.atomic():
        for row in failed.select_for_update(skip_locked=True, no_key=True):
            _try_again(row)


def _try_again(row: DBTaskResult) -> None:
    message, tries, *more = row.args_kwargs["args"]  # more: of a version to come
    at = _next_try(tries, row.enqueued_at)
    log.error("the task of a mail ended by %s; next try: %s", row.exception_class_path, at or "none")
    if at is None:
        _give_up(_mails().filter(pk=row.pk))
        return
    row.status, row.run_after, row.worker_ids = TaskResultStatus.READY, at, []
    row.args_kwargs = {"args": [message, tries + 1, *more], "kwargs": {}}
    row.save(update_fields=["status", "run_after", "worker_ids", "args_kwargs"])


def mail_drop(addresses: Iterable[str]) -> None:
    """What still waits for somebody whose account is erased; what is being tried is not tried again."""
    for address in addresses:
        own = _mails().filter(args_kwargs__args__0__to__0__iexact=address)
        own.exclude(status=TaskResultStatus.READY).update(args_kwargs=EMPTY)  # first: see _since
        own.filter(status=TaskResultStatus.READY).delete()


def mail_drop_all() -> None:
    """What waited when a backup was made: most of it has been sent since."""
    _mails().delete()
