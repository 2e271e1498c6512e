"""The clock's round: a step that fails, or one bad recipient, keeps nothing else back, and is not silent."""

from __future__ import annotations

import logging
import smtplib
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.db import OperationalError, connection

from registry.commands import due
from registry.commands.main import main
from registry.models import Membership, Notice, Organisation, User
from registry.services import clock_runs, due_decisions, notices, rereads
from registry.services.fleet import digests
from registry.services.fleet.organisations import digest_want, organisation_make, organisation_set
from registry.services.lives import laws as life_laws
from registry.services.notices import notices_mail, notify
from registry.services.one_by_one import OneByOne, SomeFailed
from registry.services.packages import open_data
from registry.services.packages.open_data import open_data_file
from tests.registry.moderation.made import account
from tests.registry.services.fleet.made import add, joined
from tests.registry.services.mail_servers import SCRIPTED, Scripted

pytestmark = pytest.mark.django_db
STEPS = (
    "decisions", "reminders", "laws", "notices", "digests", "mail", "invitations", "traces", "work",
    "webhooks", "chain", "open data",
)  # fmt: skip


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: Any) -> None:
    settings.DATA_DIR = tmp_path


def broken(*_given: Any, **_more: Any) -> Any:
    raise ZeroDivisionError("this one is broken")


@pytest.mark.parametrize("bad", STEPS)
def test_a_step_that_fails_keeps_none_of_the_others_back(
    bad: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ran: list[str] = []
    steps = {name: broken if name == bad else lambda name=name: ran.append(name) for name in due._steps()}
    assert tuple(steps) == STEPS
    monkeypatch.setattr(due, "_steps", lambda: steps)
    well: list[str] = []
    monkeypatch.setattr(clock_runs, "ended_well", lambda command: well.append(command))
    assert main(["due"]) == 1
    assert ran == [name for name in STEPS if name != bad]
    printed = capsys.readouterr()
    assert f"see the log: {bad}" in printed.err and "0 mails" in printed.out
    assert "this one is broken" in printed.err  # where the log goes
    assert well == []


def test_a_round_in_which_all_goes_well_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["due"]) == 0
    assert capsys.readouterr().err == ""
    assert open_data_file() is not None


def test_a_nightly_file_that_cannot_be_written_is_not_silent(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(open_data, "export_package", broken)
    assert main(["due", "--quiet"]) == 1
    assert "open data" in capsys.readouterr().err


def told(*names: str) -> list[User]:
    people = [account(name) for name in names]
    for person in people:
        notify(person, "account_suspended", reason="Odd.")
    return people


def refuse(monkeypatch: pytest.MonkeyPatch, bad: User) -> None:
    """A mail server asked at once, as another backend would be, which takes no mail for this one."""
    send = mail.EmailMessage.send

    def sometimes(message: mail.EmailMessage, *given: Any) -> int:
        if message.to == [bad.email]:
            raise smtplib.SMTPRecipientsRefused({bad.email: (550, b"no")})
        return send(message, *given)

    monkeypatch.setattr(mail.EmailMessage, "send", sometimes)


def test_one_bad_recipient_keeps_nobody_elses_notices_back(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], mailoutbox: Any
) -> None:
    first, bad, last = told("first", "bad", "last")
    refuse(monkeypatch, bad)
    assert main(["due"]) == 1
    assert [message.to for message in mailoutbox] == [[first.email], [last.email]]
    assert "2 mails" in capsys.readouterr().out
    assert [notice.user for notice in Notice.objects.filter(mailed_at=None)] == [bad]
    with pytest.raises(SomeFailed):
        notices_mail()
    assert len(mailoutbox) == 2, "nobody is told twice"


def test_a_notice_that_cannot_be_put_into_words_keeps_nobody_elses_back(
    monkeypatch: pytest.MonkeyPatch, mailoutbox: Any
) -> None:
    told("first", "last")
    sentence = notices.notice_sentence
    calls: list[str] = []

    def once_bad(code: str, params: Any) -> str:
        calls.append(code)
        return broken() if len(calls) == 1 else sentence(code, params)

    monkeypatch.setattr(notices, "notice_sentence", once_bad)
    with pytest.raises(SomeFailed) as some:
        notices_mail()
    assert some.value.done == len(mailoutbox) == 1


def test_a_dead_mail_server_fails_no_round_and_loses_no_notice(
    settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.EMAIL_BACKEND = "registry.services.mail.Outbox"
    settings.BENCHQUORUM_EMAIL_BACKEND = SCRIPTED
    Scripted.begin()
    Scripted.answers = [smtplib.SMTPRecipientsRefused({"any": (451, b"later")}) for _ in range(2)]
    told("first", "last")
    with django_capture_on_commit_callbacks(execute=True):
        assert main(["due", "--quiet"]) == 0
    assert not Notice.objects.filter(mailed_at=None).exists() and not Scripted.taken
    from tests.registry.services.mail_queue import later

    later()
    assert main(["due", "--quiet"]) == 0
    assert len(Scripted.taken) == 2


@pytest.fixture
def fleet() -> Organisation:
    owner = account("owner")
    made = organisation_make(by=owner, body={"name": "Marsh Quay"})
    organisation_set(by=owner, organisation=made, body={"policy_km": "60000"})
    add(owner, made, "Sweeper 12", km=70_000, fitted_km=0)
    for member in (owner, joined(made, owner, "second", "reader"), joined(made, owner, "third", "reader")):
        digest_want(by=member, organisation=made, wants=True)
    return made


def test_a_failing_member_does_not_mail_the_others_again(
    fleet: Organisation, monkeypatch: pytest.MonkeyPatch, mailoutbox: Any
) -> None:
    third = Membership.objects.order_by("pk").last()
    assert third is not None
    refuse(monkeypatch, third.user)
    assert main(["due", "--quiet"]) == 1
    assert main(["due", "--quiet"]) == 0
    assert len(mailoutbox) == 2 and third.user.email not in {message.to[0] for message in mailoutbox}


def test_what_a_fleet_is_told_is_marked_if_and_only_if_it_is_written_down(
    fleet: Organisation, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    settings.EMAIL_BACKEND = "registry.services.mail.Outbox"
    from tests.registry.services.mail_queue import rows

    said = digests._mail

    def third_fails(member: Membership, *given: Any) -> int:
        if member == Membership.objects.order_by("pk").last():
            raise OperationalError("server closed the connection unexpectedly")
        return said(member, *given)

    with monkeypatch.context() as lost:
        lost.setattr(digests, "_mail", third_fails)
        lost.setattr(connection, "is_usable", lambda: False)
        with pytest.raises(OperationalError):
            digests.digests_mail()
    fleet.refresh_from_db()
    assert rows() == [] and fleet.digest_sent_on is None
    assert digests.digests_mail() == 3 == len(rows())


def test_a_fleet_that_cannot_be_told_keeps_no_other_back(
    fleet: Organisation, monkeypatch: pytest.MonkeyPatch, mailoutbox: Any
) -> None:
    other = organisation_make(by=account("other"), body={"name": "Tollgate Yard"})
    Membership.objects.filter(organisation=other).update(wants_digest=True)
    due_list = digests.due_list
    monkeypatch.setattr(digests, "due_list", lambda one: broken() if one == other else due_list(one))
    with pytest.raises(SomeFailed) as some:
        digests.digests_mail()
    assert some.value.done == len(mailoutbox) == 3


@pytest.mark.parametrize("step", [due_decisions.apply_due, life_laws.laws_refresh, rereads.remind_rereads])
def test_steps_of_many_say_that_one_failed(step: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of them goes through OneByOne to its end."""
    monkeypatch.setattr(OneByOne, "end", lambda self: broken())
    with pytest.raises(ZeroDivisionError):
        step()


@pytest.mark.parametrize("said", ["deadlock detected", "database is locked"])
def test_a_lock_waited_for_in_vain_keeps_none_of_the_others_back(said: str) -> None:
    each = OneByOne("people")

    def locked() -> int:
        raise OperationalError(said)

    each.run(locked)
    each.run(lambda: 2)
    assert (each.done, each.failed) == (2, 1)


def test_one_that_fails_leaves_nothing_half_done(caplog: pytest.LogCaptureFixture) -> None:
    each = OneByOne("people")

    def half() -> int:
        account("half")
        return broken()

    with caplog.at_level(logging.ERROR):
        each.run(half)
        each.run(lambda: 2)
    assert not User.objects.exists() and each.done == 2
    with pytest.raises(SomeFailed, match="people: 1 failed"):
        each.end()
