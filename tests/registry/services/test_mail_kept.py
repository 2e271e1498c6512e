"""Mail outlives servers that are down or set up wrongly, workers of another version and errors of ours."""

from __future__ import annotations

import json
import smtplib
import time
from datetime import timedelta
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.core.mail import EmailMessage
from django.db.models import F
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry import tasks
from registry.selectors.backlog import MAIL, backlog
from registry.services import mail
from registry.services.accounts import account_erase
from registry.services.workers import TRIES, round_of_care, tasks_take_over
from tests.api.made import made_user
from tests.registry.services.mail_queue import GREYLISTED, NO_SUCH_BOX, WHOM, later, rows, send, work
from tests.registry.services.mail_servers import Scripted

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("outbox", "queue")]


def older(by: timedelta) -> None:
    DBTaskResult.objects.update(enqueued_at=F("enqueued_at") - by)


def ready() -> list[DBTaskResult]:
    return [row for row in rows() if row.status == "READY"]


@pytest.mark.parametrize("end", [ImportError("no attribute send_mail"), SystemExit(1), TypeError(WHOM)])
def test_a_mail_that_a_worker_could_not_even_try_is_sent_by_the_next(end: BaseException) -> None:
    send()
    (row,) = rows()
    row.claim("an old worker")
    row.set_failed(end)
    round_of_care()
    (row,) = ready()
    assert 0 < (row.run_after - timezone.now()).total_seconds() <= mail.PAUSES[0]
    later()
    work()
    assert [message.to for message in Scripted.taken] == [[WHOM]]


def test_a_mail_of_a_version_to_come_stops_no_round() -> None:
    send()
    (row,) = rows()
    row.args_kwargs["args"].append("more")
    row.save()
    assert work() == 1
    round_of_care()
    assert ready()[0].args_kwargs["args"][1:] == [1, "more"]


def test_a_mail_that_always_breaks_its_task_is_given_up_and_forgotten() -> None:
    send()
    returns = 0
    while (waiting := ready()) and returns < 20:
        returns += 1
        waiting[0].claim("worker")
        waiting[0].set_failed(TypeError(f"{WHOM} is no address"))
        round_of_care()
    (row,) = rows()
    assert returns == len(mail.PAUSES) + 1 and row.status == "FAILED"
    assert WHOM not in json.dumps(row.args_kwargs) + row.traceback


def test_a_mail_that_kills_its_workers_does_not_come_back() -> None:
    send()
    for n in range(TRIES):
        rows()[0].claim(f"worker {n}")
        tasks_take_over()
    round_of_care()
    (row,) = rows()
    assert row.status == "FAILED" and row.args_kwargs == mail.EMPTY


def test_each_try_knows_when_the_mail_was_written_down() -> None:
    Scripted.answers = [GREYLISTED] * 3
    send()
    (row,) = rows()
    for _ in range(3):
        work()
        later()
    assert {again.enqueued_at for again in rows()} == {row.enqueued_at}


def test_the_last_try_is_at_the_end_of_the_time_that_mail_is_kept() -> None:
    Scripted.answers = [GREYLISTED] * 9
    send()
    DBTaskResult.objects.update(args_kwargs={"args": [rows()[0].args_kwargs["args"][0], 6], "kwargs": {}})
    older(mail.KEPT - timedelta(minutes=5))
    work()
    (row,) = ready()
    assert 290 < (row.run_after - timezone.now()).total_seconds() <= 300 < mail.PAUSES[6]
    older(timedelta(minutes=5))
    later()
    work()
    assert ready() == [] and backlog().failed == 1


def test_a_dead_server_gives_up_old_mail_whatever_tries_it_had() -> None:
    """Rests leave most of many mails without a try of their own."""
    Scripted.answers = [TimeoutError()]
    for n in range(5):
        send(f"r{n}@workshop.example")
    older(mail.KEPT)
    send("new@workshop.example")
    work()
    assert [row.args_kwargs["args"][0]["to"] for row in ready()] == [["new@workshop.example"]]
    assert backlog().failed == 5
    round_of_care()
    assert "workshop.example" not in "".join(
        json.dumps(row.args_kwargs) for row in rows() if row.status == "FAILED"
    )


def test_at_a_rest_all_mail_is_put_off_at_once() -> None:
    """Claimed and put again one by one, mail that waits would go before every chart each minute."""
    Scripted.answers = [TimeoutError(), AssertionError("it was asked again")]
    for n in range(4):
        send(f"r{n}@workshop.example")
    assert work() == 1, "one is tried, and the others aren't looked at"
    others = [row for row in ready() if row.args_kwargs["args"][1] == 0]
    assert len(others) == 3 and len(rows()) == 5
    assert all(row.worker_ids == [] for row in others)
    rest = mail._rest_until - time.monotonic()
    assert all(rest < (row.run_after - timezone.now()).total_seconds() <= mail.REST + 2 for row in others)


def test_a_mail_that_comes_during_a_rest_waits_for_its_end_without_a_try(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(mail, "_rest_until", time.monotonic() + mail.REST)
    send()
    send("other@workshop.example")
    assert work() == 1
    assert [row.args_kwargs["args"][1] for row in ready()] == [0, 0] and not Scripted.taken


def test_mail_that_waits_for_its_next_try_is_counted() -> None:
    Scripted.answers = [GREYLISTED]
    send()
    work()
    assert (backlog().ready, backlog().mails) == (0, 1)
    later()
    work()
    assert backlog().mails == 0


def refused(code: int, said: bytes) -> smtplib.SMTPRecipientsRefused:
    return smtplib.SMTPRecipientsRefused({WHOM: (code, said)})


@pytest.mark.parametrize(
    ("error", "final"),
    [
        (refused(550, b"5.1.1 no such user"), True),
        (refused(554, b"5.1.1 no such user"), True),
        (refused(550, b"unknown user"), True),
        (refused(551, b"user not local"), True),
        (refused(553, b"mailbox name not allowed"), True),
        (smtplib.SMTPDataError(550, b"5.1.1 no such user"), True),
        (refused(554, b"5.7.1 <reader@workshop.example>: Relay access denied"), False),
        (refused(550, b"5.7.1 relaying denied"), False),
        (refused(553, b"5.7.1 sender address rejected: not owned by user"), False),
        (refused(550, b"5.1.8 bad sender's system address"), False),
        (refused(530, b"5.7.0 must issue STARTTLS first"), False),
        (refused(552, b"5.2.2 mailbox full"), False),
        (refused(451, b"4.7.1 greylisted"), False),
        (smtplib.SMTPDataError(554, b"5.6.0 no"), False),
        (smtplib.SMTPSenderRefused(550, b"5.1.8 no", "from@x.example"), False),
        (smtplib.SMTPRecipientsRefused({WHOM: (550, b"no"), "b@x.example": (451, b"later")}), False),
    ],
)
def test_only_what_is_said_of_the_mailbox_is_the_last_word(error: Exception, final: bool) -> None:
    Scripted.answers = [error]
    send()
    work()
    assert len(ready()) == (0 if final else 1)


def test_nothing_waits_at_any_address_of_somebody_who_has_gone() -> None:
    gone = made_user("gone")
    EmailAddress.objects.create(user=gone, email="Second@workshop.example", verified=True)
    for address in (gone.email.upper(), "second@workshop.example", "other@workshop.example"):
        send(address)
    broke = rows()[1]
    broke.claim("worker")
    broke.set_failed(TypeError())  # would be tried again
    account_erase(by=gone)
    round_of_care()
    assert [row.args_kwargs["args"][0]["to"] for row in ready()] == [["other@workshop.example"]]
    assert "second@" not in "".join(json.dumps(row.args_kwargs) for row in rows())


@pytest.mark.parametrize("answer", [GREYLISTED, TimeoutError()])
@pytest.mark.parametrize("with_queue", [True, False])
def test_a_mail_being_tried_at_the_erasure_is_not_put_again(
    answer: Exception, with_queue: bool, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = made_user("gone")
    send(gone.email)

    def erased_meanwhile(*_given: Any) -> Exception:
        account_erase(by=gone)
        if isinstance(answer, TimeoutError):
            monkeypatch.setattr(mail, "_rest_until", time.monotonic() + mail.REST)
        return answer

    monkeypatch.setattr(mail, "_sent", erased_meanwhile)
    if with_queue:
        work()
    else:
        settings.TASKS_QUEUE = "immediate"
        assert mail.mail_owed() == 1
    assert ready() == [] and gone.email not in "".join(json.dumps(row.args_kwargs) for row in rows())


def test_a_message_has_one_id_however_its_name_is_written() -> None:
    Scripted.answers = [GREYLISTED]
    EmailMessage("S", "B", "from@x.example", [WHOM], headers={"message-id": "<own@x.example>"}).send()
    work()
    later()
    work()
    (sent,) = Scripted.taken
    assert sent.message().get_all("Message-ID") == ["<own@x.example>"]


def test_the_gauge_counts_the_task_by_its_name() -> None:
    assert tasks.send_mail.module_path == MAIL


def test_without_a_queue_too_what_is_given_up_leaves_no_address(settings: Any) -> None:
    settings.TASKS_QUEUE = "immediate"
    Scripted.answers = [NO_SUCH_BOX]
    EmailMessage("S", "B", None, [WHOM]).send()
    assert mail.mail_owed() == 1
    (row,) = rows()
    assert backlog().failed == 1 and WHOM not in json.dumps(row.args_kwargs) + row.traceback
