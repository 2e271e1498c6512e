"""A restore brings back all, but nobody who was erased since; whatever stopped it, it can be tried again."""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django_tasks_db.models import DBTaskResult

from registry.commands.main import main
from registry.formats.audit_chain import FIRST, entry_hash
from registry.immutability import missing
from registry.models import Design, Sheet, User
from registry.services import backups, erasures
from registry.services.accounts import account_erase
from registry.services.database_copy import digests
from tests.api.made import made_user
from tests.registry.services.mail_queue import rows, send

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("other_databases")]


def test_nothing_is_restored_over_a_registry_that_is_there(registry: Design, tmp_path: Path) -> None:
    path = tmp_path / "backup.tar.gz"
    backups.backup_make(path=path)
    before = digests("default")
    assert main(["restore", str(path)]) == 2
    assert digests("default") == before


def emptied(tmp_path: Path) -> None:
    """Nothing is left of the registry, nor of its uploads."""
    call_command("flush", interactive=False, verbosity=0)
    shutil.rmtree(tmp_path / "uploads")
    assert not Sheet.objects.exists()


def test_restored_over_an_emptied_database_with_later_erasures(registry: Design, tmp_path: Path) -> None:
    path, chain = tmp_path / "backup.tar.gz", tmp_path / "chain.jsonl"
    backups.backup_make(path=path)
    account_erase(by=User.objects.get(email="reader0@workshop.example"))
    assert main(["audit", "--export", str(chain)]) == 0
    emptied(tmp_path)
    assert main(["restore", str(path), "--erased", str(chain)]) == 0
    assert not (tmp_path / "uploads" / "sheets" / "plug.jpg").exists()  # erased again, as its owner is
    assert Sheet.objects.count() == 2
    assert not User.objects.filter(email="reader0@workshop.example").exists()
    assert User.objects.filter(email="reader1@workshop.example").exists()
    assert missing(connection) == []
    assert main(["audit"]) == 0


def test_who_had_sent_nothing_yet_is_erased_again_too(registry: Design, tmp_path: Path) -> None:
    """Whose pseudonym was made by the erasure itself was in no backup under it."""
    path, chain = tmp_path / "backup.tar.gz", tmp_path / "chain.jsonl"
    newcomer = made_user("newcomer")
    assert not hasattr(newcomer, "contributor")
    backups.backup_make(path=path)
    account_erase(by=User.objects.get(pk=newcomer.pk))
    assert main(["audit", "--export", str(chain)]) == 0
    emptied(tmp_path)
    assert main(["restore", str(path), "--erased", str(chain)]) == 0
    assert not User.objects.filter(email="newcomer@workshop.example").exists()


def test_mail_that_waited_at_the_backup_is_not_sent_again(
    registry: Design, tmp_path: Path, settings: Any
) -> None:
    settings.TASKS_QUEUE = "database"
    settings.EMAIL_BACKEND = "registry.services.mail.Outbox"
    path = tmp_path / "backup.tar.gz"
    send()
    backups.backup_make(path=path)
    emptied(tmp_path)
    tasks = DBTaskResult.objects.count()
    assert main(["restore", str(path)]) == 0
    assert (tmp_path / "uploads" / "sheets" / "plug.jpg").read_bytes() == b"a picture"
    assert rows() == [] and tasks == 0 < DBTaskResult.objects.count()


def uploads_elsewhere(monkeypatch: pytest.MonkeyPatch, uploads: Path) -> None:
    """As where the folder of uploads is a file system of its own: nothing can be renamed into it."""

    def within(original: Callable[..., Any]) -> Callable[..., Any]:
        def renamed(source: Any, target: Any, **named: Any) -> Any:
            if Path(source).is_relative_to(uploads) != Path(target).is_relative_to(uploads):
                raise OSError(errno.EXDEV, os.strerror(errno.EXDEV), str(source), None, str(target))
            return original(source, target, **named)

        return renamed

    monkeypatch.setattr(os, "rename", within(os.rename))
    monkeypatch.setattr(os, "replace", within(os.replace))


def test_restored_onto_another_file_system(
    registry: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "backup.tar.gz"
    backups.backup_make(path=path)
    emptied(tmp_path)
    uploads_elsewhere(monkeypatch, tmp_path / "uploads")
    assert main(["restore", str(path)]) == 0
    assert [file.name for file in (tmp_path / "uploads" / "sheets").iterdir()] == ["plug.jpg"]
    assert (tmp_path / "uploads" / "sheets" / "plug.jpg").read_bytes() == b"a picture"
    assert Sheet.objects.count() == 2


def test_a_restore_that_the_disk_was_too_small_for_can_be_tried_again(
    registry: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "uploads" / "sheets"
    (folder / "tag.jpg").write_bytes(b"another picture")
    path = tmp_path / "backup.tar.gz"
    backups.backup_make(path=path)
    emptied(tmp_path)
    moved = []

    def full(source: Path, target: Path) -> None:
        if moved:
            target.write_bytes(source.read_bytes()[:3])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        moved.append(target)
        source.rename(target)

    with monkeypatch.context() as small:
        small.setattr(shutil, "move", full)
        assert main(["restore", str(path)]) == 1
    assert not Sheet.objects.exists() and len(moved) == 1
    assert main(["restore", str(path)]) == 0
    assert {file.name: file.read_bytes() for file in folder.iterdir()} == {
        "plug.jpg": b"a picture",
        "tag.jpg": b"another picture",
    }
    assert Sheet.objects.count() == 2


def test_another_file_in_the_place_of_an_upload_is_kept_and_nothing_restored(
    registry: Design, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, picture = tmp_path / "backup.tar.gz", tmp_path / "uploads" / "sheets" / "plug.jpg"
    backups.backup_make(path=path)
    emptied(tmp_path)
    picture.parent.mkdir(parents=True)
    picture.write_bytes(b"of another registry")
    assert main(["restore", str(path)]) == 2
    assert "plug.jpg" in capsys.readouterr().err
    assert picture.read_bytes() == b"of another registry" and not Sheet.objects.exists()


def test_who_was_erased_is_not_back_though_the_restore_stops_half_way(
    registry: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, chain = tmp_path / "backup.tar.gz", tmp_path / "chain.jsonl"
    backups.backup_make(path=path)
    account_erase(by=User.objects.get(email="reader0@workshop.example"))
    assert main(["audit", "--export", str(chain)]) == 0
    emptied(tmp_path)

    def stopped(**_named: Any) -> None:
        raise MemoryError

    with monkeypatch.context() as poor:
        poor.setattr(erasures, "account_erase", stopped)
        assert main(["restore", str(path), "--erased", str(chain)]) == 1
    assert not User.objects.filter(email="reader0@workshop.example").exists()
    assert main(["restore", str(path), "--erased", str(chain)]) == 0
    assert not User.objects.filter(email="reader0@workshop.example").exists()
    assert Sheet.objects.count() == 2


def forged(lines: list[str]) -> list[str]:
    """Somebody else's account is named in the entry of an erasure."""
    victim = str(User.objects.get(email="reader1@workshop.example").contributor.uuid)
    changed = json.loads(lines[-1])
    return [*lines[:-1], json.dumps({**changed, "target_uuid": victim})]


def of_another(lines: list[str]) -> list[str]:
    """Whole in itself, and none of its entries is one of this registry's."""
    made, previous = [], FIRST
    for line in lines:
        entry = {**json.loads(line), "target_kind": "nothing", "previous": previous}
        made.append(json.dumps({**entry, "hash": entry_hash(entry)}))
        previous = entry_hash(entry)
    return made


@pytest.mark.parametrize(
    ("spoiled", "says"),
    [
        (forged, "has a fault"),
        (of_another, "of another registry"),
        (lambda lines: lines[:1], "ends at entry 1"),
        (lambda lines: [*lines[:-1], lines[-1][:40]], "has a fault"),
        (lambda lines: ["\x00\udcff"], "no published chain"),
    ],
    ids=["forged", "another", "early", "cut", "binary"],
)
def test_a_chain_that_does_not_hold_is_refused_and_nothing_restored(
    registry: Design,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    spoiled: Callable[[list[str]], list[str]],
    says: str,
) -> None:
    path, chain = tmp_path / "backup.tar.gz", tmp_path / "chain.jsonl"
    backups.backup_make(path=path)
    account_erase(by=User.objects.get(email="reader0@workshop.example"))
    assert main(["audit", "--export", str(chain)]) == 0
    lines = spoiled(chain.read_text(encoding="utf-8").splitlines())
    chain.write_text("\n".join(lines), encoding="utf-8", errors="surrogateescape")
    emptied(tmp_path)
    assert main(["restore", str(path), "--erased", str(chain)]) == 2
    assert says in capsys.readouterr().err
    assert not Sheet.objects.exists() and not User.objects.exists()
