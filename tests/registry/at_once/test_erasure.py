"""An account is erased while something of it is under way: none of its words or pictures is left behind."""

from __future__ import annotations

import io
from threading import Event
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from registry.models import AuditEntry, JobEvent, Sheet, SheetPicture, SheetVersion, User
from registry.services import accounts, pictures
from registry.services.accounts import account_erase
from registry.services.jobs import starting
from registry.services.jobs.starting import job_about, job_start
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.at_once.meeting import WAIT, begun, on_postgresql, until_it_waits

pytestmark = [pytest.mark.django_db(transaction=True), on_postgresql]


def test_a_sheet_that_comes_while_its_account_is_erased_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Words are emptied first, the account goes last: nothing comes between the two."""
    user = made_user()
    design = made_design(user)
    sent, leave = [], accounts.fleets_leave

    def slowly(by: User) -> None:
        sent.append(begun(lambda: sheet_submit(by=by, body=sheet_body(design, note="call 555 0100"))))
        until_it_waits(sent[0])
        leave(by)

    monkeypatch.setattr(accounts, "fleets_leave", slowly)
    account_erase(by=user)
    with pytest.raises(PermissionDenied):
        sent[0].result(WAIT)
    assert not SheetVersion.objects.exclude(note="").exists()
    assert not Sheet.objects.exists()


def test_a_picture_that_is_being_stored_goes_with_the_account(monkeypatch: pytest.MonkeyPatch) -> None:
    user = made_user()
    sheet = sheet_submit(by=user, body=sheet_body(made_design(user)))
    file = io.BytesIO()
    Image.new("RGB", (40, 30)).save(file, "JPEG")
    stored, go_on = _paused(monkeypatch, pictures, "record")
    upload = SimpleUploadedFile("plug.jpg", file.getvalue())
    adding = begun(lambda: pictures.picture_add(by=user, sheet=sheet, upload=upload))
    assert stored.wait(WAIT)
    erasing = begun(lambda: account_erase(by=user))
    until_it_waits(erasing)
    go_on.set()
    picture = adding.result(WAIT)
    erasing.result(WAIT)
    assert not SheetPicture.objects.exists()
    assert not picture.image.storage.exists(picture.image.name)


def test_words_that_are_being_written_into_a_job_go_with_the_account(monkeypatch: pytest.MonkeyPatch) -> None:
    user = made_user()
    job = job_start(by=user, body={"symptom": "silent"}).job
    add = starting.event_add
    stored, go_on = Event(), Event()

    def slowly(*args: Any, **more: Any) -> JobEvent:
        event = add(*args, **more)
        stored.set()
        assert go_on.wait(WAIT)
        return event

    monkeypatch.setattr(starting, "event_add", slowly)
    writing = begun(lambda: job_about(by=user, job=job, body={"note": "plate AB 12"}))
    assert stored.wait(WAIT)
    erasing = begun(lambda: account_erase(by=user))
    until_it_waits(erasing)
    go_on.set()
    writing.result(WAIT)
    erasing.result(WAIT)
    assert not JobEvent.objects.exclude(private={}).exists()


def test_two_erasures_of_an_account_at_once_are_one(monkeypatch: pytest.MonkeyPatch) -> None:
    user = made_user()
    sheet_submit(by=user, body=sheet_body(made_design(user)))
    again, leave = [], accounts.fleets_leave

    def slowly(by: User) -> None:
        if not again:
            again.append(begun(lambda: account_erase(by=User.objects.get(pk=by.pk))))
            until_it_waits(again[0])
        leave(by)

    monkeypatch.setattr(accounts, "fleets_leave", slowly)
    account_erase(by=user)
    again[0].result(WAIT)
    assert not User.objects.exists()
    assert AuditEntry.objects.filter(action="account_erase").count() == 1


def _paused(monkeypatch: pytest.MonkeyPatch, module: Any, name: str) -> tuple[Event, Event]:
    """Events: it has come to this function of the module; it may go on."""
    reached, go_on, act = Event(), Event(), getattr(module, name)

    def slowly(*args: Any, **more: Any) -> Any:
        reached.set()
        assert go_on.wait(WAIT)
        return act(*args, **more)

    monkeypatch.setattr(module, name, slowly)
    return reached, go_on
