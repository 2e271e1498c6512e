"""The log's chain: whole when left alone, broken at the entry that was touched."""

from __future__ import annotations

import hashlib
import json
import threading
import uuid
from pathlib import Path

import pytest
from django.db import OperationalError, connection, connections, transaction

from registry.commands.main import main
from registry.formats.audit_chain import chain_faults, read_chain
from registry.immutability import lifted
from registry.models import AuditEntry, ChartRevision
from registry.services.audit import chain_seal, published_chain, record, stored_faults
from registry.services.charts import chart_refresh
from registry.services.decisions import approve, decide
from tests.api.made import made_user
from tests.registry.moderation.made import account, made_design, made_sheet, newest

THREADS, EACH = 4, 6


def deed(n: int = 1, by: object = None) -> AuditEntry:
    return record(by=by, action="import", target_kind="registry", target_uuid=None, sheets=n)  # type: ignore[arg-type]


@pytest.mark.django_db
def test_chain_is_whole_and_numbers_have_no_gap() -> None:
    for n in range(5):
        deed(n)
    assert chain_seal() == 5
    assert chain_seal() == 0
    assert stored_faults() == []
    assert [entry["number"] for entry in published_chain()] == [1, 2, 3, 4, 5]


@pytest.mark.django_db(transaction=True)
def test_a_deed_is_done_though_its_seal_fails_and_the_next_makes_up_for_it(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def cut(**_asked: bool) -> None:
        raise OperationalError("the connection was cut")

    with monkeypatch.context() as broken:
        broken.setattr("registry.services.after_deed.settle", cut)
        deed(1)
    assert AuditEntry.objects.get().number is None
    assert "the connection was cut" in caplog.text
    deed(2)
    assert [entry["number"] for entry in published_chain()] == [1, 2]


@pytest.mark.django_db
def test_an_entry_is_a_line_whatever_stands_in_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Other signs than the line feed end a line for Python's text, and none of JSON."""
    record(by=None, action="import", target_kind="registry", target_uuid=None, word="a\u2028b\x85c")
    published = tmp_path / "audit.jsonl"
    assert main(["audit", "--export", str(published)]) == 0
    assert main(["audit", "--file", str(published), "--extends", str(published)]) == 0
    assert "1 entries" in capsys.readouterr().out


@pytest.mark.django_db
def test_a_changed_entry_is_found() -> None:
    entries = [deed(n) for n in range(4)]
    chain_seal()
    with lifted(connection):
        AuditEntry.objects.filter(pk=entries[2].pk).update(detail={"sheets": 99})
    assert [(fault.number, fault.code) for fault in stored_faults()] == [(3, "hash")]


@pytest.mark.django_db
def test_a_dropped_entry_is_found() -> None:
    entries = [deed(n) for n in range(4)]
    chain_seal()
    with lifted(connection):
        AuditEntry.objects.filter(pk=entries[1].pk).delete()
    assert {fault.number for fault in stored_faults()} == {2, 3}


@pytest.mark.django_db
def test_who_acted_cannot_be_joined_across_the_published_chain() -> None:
    user = made_user()
    deed(1, by=user)
    deed(2, by=user)
    chain_seal()
    first, second = published_chain()
    assert first["actor"] != second["actor"]
    assert str(user.uuid) not in json.dumps([first, second])


@pytest.mark.django_db
def test_whose_account_was_decided_about_stays_untold_and_the_log_is_held_to_it() -> None:
    """As in the package and in the API: not whom a decision about an account concerns."""
    about, another = uuid.uuid4(), uuid.uuid4()
    for action in ("decide_suspend", "decision_undone"):
        record(by=None, action=action, target_kind="account", target_uuid=about, decision=str(uuid.uuid4()))
    chain_seal()
    first, second = published_chain()
    assert first["target_uuid"] != second["target_uuid"]
    assert str(about) not in json.dumps([first, second])
    with lifted(connection):
        AuditEntry.objects.filter(number=1).update(target_uuid=another)
    assert [(fault.number, fault.code) for fault in stored_faults()] == [(1, "hash")]


@pytest.mark.django_db(transaction=True)
def test_deeds_at_once_make_one_chain() -> None:
    def work() -> None:
        try:
            for n in range(EACH):
                with transaction.atomic():
                    deed(n)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=work) for _ in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert AuditEntry.objects.filter(number=None).count() == 0
    assert AuditEntry.objects.count() == THREADS * EACH
    assert stored_faults() == []


@pytest.mark.django_db
def test_an_outsider_verifies_the_published_chain(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    deed(1)
    early, late = tmp_path / "early.jsonl", tmp_path / "late.jsonl"
    assert main(["audit", "--export", str(early)]) == 0
    deed(2)
    assert main(["audit", "--export", str(late)]) == 0
    assert main(["audit", "--file", str(late), "--extends", str(early)]) == 0
    assert "2 entries" in capsys.readouterr().out

    lines = late.read_text().splitlines()
    forged = lines[0].replace('"sheets": 1', '"sheets": 7')
    late.write_text("\n".join([forged, lines[1]]))
    assert main(["audit", "--file", str(late)]) == 1
    assert "entry 1 was changed" in capsys.readouterr().err


def test_a_chain_made_anew_does_not_continue_the_earlier_copy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from datetime import UTC, datetime

    from registry.formats.audit_chain import FIRST, chain_entry

    def chain(path: Path, sheets: int) -> Path:
        entry = chain_entry(
            number=1, at=datetime(2026, 11, 20, tzinfo=UTC), actor=None, salt="", action="import",
            target_kind="registry", target_uuid=None, detail={"sheets": sheets}, previous=FIRST,
        )  # fmt: skip
        path.write_text(json.dumps(entry))
        assert list(chain_faults(read_chain(path.read_text().splitlines()))) == []
        return path

    older, other = chain(tmp_path / "older", 1), chain(tmp_path / "other", 2)
    assert main(["audit", "--file", str(other), "--extends", str(older)]) == 1
    assert "lost or rewritten" in capsys.readouterr().err


@pytest.mark.django_db
def test_command_verifies_the_registry(capsys: pytest.CaptureFixture[str]) -> None:
    deed()
    assert main(["audit"]) == 0
    assert "1 entries" in capsys.readouterr().out
    with lifted(connection):
        AuditEntry.objects.update(action="export")
    assert main(["audit"]) == 1


@pytest.mark.django_db
def test_published_revision_that_was_rewritten_with_its_digest_is_found(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whoever holds the database can make bytes and digest fit again, not the copies of the log."""
    person = account("reader")
    design = made_design(person)
    made_sheet(person, design)
    chart_refresh(design_id=design.pk)
    revision = newest(design)
    assert main(["audit"]) == 0
    chain_seal()
    (told,) = (entry for entry in published_chain() if entry["action"] == "revision_publish")
    assert told["target_uuid"] == str(revision.uuid)
    assert told["detail"] == {"number": revision.number, "content_sha256": revision.content_sha256}
    with lifted(connection):
        content = bytes(revision.content).replace(b'"closed"', b'"open"')
        digest = hashlib.sha256(content).hexdigest()
        ChartRevision.objects.filter(pk=revision.pk).update(content=content, content_sha256=digest)
    capsys.readouterr()
    assert main(["audit"]) == 1
    assert capsys.readouterr().err.splitlines() == [
        f"revision {revision.uuid}: not the one whose publication is entry {told['number']} of the log"
    ]


@pytest.mark.django_db
def test_what_moderators_publish_stands_in_the_log_by_its_digest() -> None:
    person, first, second = account("reader"), *(account(f"m{n}", moderator=True) for n in range(2))
    design = made_design(person)
    made_sheet(person, design)
    chart_refresh(design_id=design.pk)
    revision = newest(design)
    about = {"target_kind": "revision", "target_uuid": revision.uuid, "reason": "So."}
    for kind in ("withdraw_revision", "publish"):
        approve(by=second, decision=decide(by=first, kind=kind, **about))  # type: ignore[arg-type]
    entries = AuditEntry.objects.filter(action="revision_publish", target_uuid=revision.uuid)
    assert [entry.detail["content_sha256"] for entry in entries] == [revision.content_sha256] * 2
