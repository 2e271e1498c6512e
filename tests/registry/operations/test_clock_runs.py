"""Whether backup, audit and the hourly round ended well is told to whoever watches."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from registry.commands.main import main
from registry.immutability import lifted
from registry.models import AuditEntry, ClockRun
from registry.services import backups
from registry.services.audit import record
from registry.services.clock_runs import ended_well

pytestmark = pytest.mark.django_db
DAY = 24 * 3600.0


def shown(client: Client) -> dict[str, float]:
    """Seconds by command, as /metrics tells them."""
    start = 'benchquorum_ended_well_seconds{command="'
    lines = client.get("/metrics").content.decode().splitlines()
    found = [line.removeprefix(start).split('"} ') for line in lines if line.startswith(start)]
    return {command: float(seconds) for command, seconds in found}


def test_what_never_ended_well_is_infinitely_long_ago(client: Client) -> None:
    assert shown(client) == dict.fromkeys(("audit", "backup", "due"), float("inf"))


def test_seconds_go_by_until_it_ends_well_again(client: Client) -> None:
    for command in ("audit", "backup", "due"):
        ended_well(command=command)
    ClockRun.objects.filter(command="backup").update(ended_at=timezone.now() - timedelta(days=1))
    seconds = shown(client)
    assert DAY - 5 < seconds["backup"] < DAY + 60
    assert seconds["audit"] < 60 and seconds["due"] < 60
    ended_well(command="backup")
    assert shown(client)["backup"] < 60
    assert ClockRun.objects.count() == 3


def test_each_command_says_so_at_its_end(settings: Any, tmp_path: Path, monkeypatch: Any) -> None:
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr(backups, "backup_make", lambda path: {"tables": {}, "files": {"database": ""}})
    for command in (["audit"], ["backup", str(tmp_path / "b")], ["due", "--quiet"]):
        assert main(command) == 0
        assert ClockRun.objects.filter(command=command[0]).exists()


def test_one_that_fails_says_nothing(settings: Any, tmp_path: Path, monkeypatch: Any) -> None:
    settings.DATA_DIR = tmp_path
    record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=1)
    assert main(["audit"]) == 0
    ClockRun.objects.all().delete()
    with lifted(connection):
        AuditEntry.objects.update(action="export")
    assert main(["audit"]) == 1

    def full(**_named: Any) -> None:
        raise OSError("no space left on device")

    monkeypatch.setattr(backups, "backup_make", full)
    assert main(["backup", str(tmp_path / "b")]) == 1
    assert not ClockRun.objects.exists()


def test_a_check_of_an_old_backup_is_no_backup(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(backups, "backup_check", lambda path: {"tables": {}, "files": {"database": ""}})
    assert main(["backup", "--check", str(tmp_path / "b")]) == 0
    assert not ClockRun.objects.exists()
