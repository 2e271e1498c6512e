"""The nightly file and the published log: written if something changed, downloaded whole, not sent twice."""

from __future__ import annotations

import json
import zipfile
from datetime import timedelta
from io import BytesIO

import pytest
from django.db import connection
from django.utils import timezone

from registry.commands.main import main
from registry.errors import RegistryError
from registry.formats.package_parquet import parquet_is_there
from registry.immutability import lifted
from registry.models import AuditEntry
from registry.services import chain_file as chain_file_module
from registry.services.audit import record, stored_faults
from registry.services.chain_file import chain_file, chain_publish
from registry.services.packages import open_data
from registry.services.packages.open_data import open_data_due, open_data_file, open_data_write
from tests.registry.moderation.made import account, made_design, made_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    settings.TASKS_QUEUE = "database"  # and no worker is there: the clock writes it where servers look


def deed(by):
    return record(by=by, action="import", target_kind="registry", target_uuid=None, sheets=1)


def test_page_says_when_there_is_no_file_yet(client):
    assert b"written at night" in client.get("/open-data/").content
    assert client.get("/open-data/benchquorum-data.zip").status_code == 404


def test_clock_writes_it_and_the_address_serves_it(client):
    person = account("reader")
    made_sheet(person, made_design(person))
    assert main(["due", "--quiet"]) == 0
    there = open_data_file()
    assert there is not None
    answer = client.get("/open-data/benchquorum-data.zip")
    content = b"".join(answer.streaming_content)
    assert "data/readings.csv" in zipfile.ZipFile(BytesIO(content)).namelist()
    again = client.get("/open-data/benchquorum-data.zip", headers={"if-none-match": answer["ETag"]})
    assert again.status_code == 304
    assert there.digest.encode() in client.get("/open-data/").content


@pytest.mark.parametrize("there", [True, False])
def test_its_tables_are_parquet_too_where_the_library_is(client, monkeypatch, there):
    monkeypatch.setattr(open_data, "parquet_is_there", lambda: there)
    written = open_data_write()
    names = zipfile.ZipFile(written.path).namelist()
    assert ("parquet/readings.parquet" in names) is there is written.parquet
    assert (b"as Parquet too" in client.get("/open-data/").content) is there


def test_the_library_is_asked_for_not_guessed(monkeypatch):
    assert parquet_is_there()

    def missing(name: str):
        raise ImportError(name)

    monkeypatch.setattr("registry.formats.package_parquet.import_module", missing)
    assert not parquet_is_there()


def test_it_is_written_again_only_the_next_night_and_only_if_something_changed():
    person = account("reader")
    design = made_design(person)
    first = open_data_write()
    tomorrow = timezone.now() + timedelta(days=1)
    assert not open_data_due(now=tomorrow)
    made_sheet(person, design)
    assert not open_data_due()
    assert open_data_due(now=tomorrow)
    assert open_data_write(now=tomorrow).digest != first.digest


def test_page_says_when_the_log_is_not_published_yet(client):
    assert b"published each hour" in client.get("/open-data/").content
    assert client.get("/open-data/audit.jsonl").status_code == 404


def test_clock_publishes_the_log_and_an_outsider_verifies_it(client, tmp_path, capsys):
    person = account("reader")
    made_sheet(person, made_design(person))
    deed(person)
    assert main(["due", "--quiet"]) == 0
    answer = client.get("/open-data/audit.jsonl")
    early = tmp_path / "early.jsonl"
    early.write_bytes(b"".join(answer.streaming_content))
    again = client.get("/open-data/audit.jsonl", headers={"if-none-match": answer["ETag"]})
    assert again.status_code == 304
    head = json.loads(early.read_text().splitlines()[-1])
    page = client.get("/open-data/").content.decode()
    assert head["hash"] in page and answer["ETag"] == f'"{head["hash"]}"'

    deed(person)
    assert main(["due", "--quiet"]) == 0
    grown = client.get("/open-data/audit.jsonl", headers={"if-none-match": answer["ETag"]})
    assert grown.status_code == 200
    late = tmp_path / "late.jsonl"
    late.write_bytes(b"".join(grown.streaming_content))
    assert len(late.read_text().splitlines()) == len(early.read_text().splitlines()) + 1
    assert main(["audit", "--file", str(late), "--extends", str(early)]) == 0
    assert main(["audit", "--file", str(early), "--extends", str(late)]) == 1


def test_a_log_without_an_entry_is_published_too():
    assert (chain_publish().number, chain_file().path.read_text()) == (0, "")


def test_what_was_published_is_not_written_over_where_the_log_has_lost_it(capsys, tmp_path):
    """An end that was cut off or rewritten, or a backup that was restored: each would else leave no trace."""
    deed(account("reader"))
    deed(account("another"))
    path = chain_publish().path
    told = path.read_bytes()
    assert main(["audit"]) == 0
    with lifted(connection):
        AuditEntry.objects.latest("pk").delete()
    for how in ("cut", "rewritten"):
        assert stored_faults() == []  # the log by itself shows nothing
        assert main(["audit"]) == 1
        assert f"entry 2 of the log is not that of the published {path}" in capsys.readouterr().err
        with pytest.raises(RegistryError, match="nothing was written over it"):
            chain_publish()
        assert path.read_bytes() == told
        deed(account(how))
    path.rename(tmp_path / "before.jsonl")
    assert chain_publish().number == 3
    assert main(["audit"]) == 0


def test_a_log_that_has_not_grown_is_not_written_again():
    deed(account("reader"))
    first = chain_publish().path.stat()
    assert chain_publish().path.stat().st_ino == first.st_ino
    deed(account("another"))
    assert chain_publish().path.stat().st_ino != first.st_ino


def whole_log():
    return "".join(chain_file_module.chain_lines())


def test_of_a_log_that_has_grown_only_what_is_new_is_read(monkeypatch):
    deed(account("reader"))
    there = chain_publish()
    deed(account("another"))
    read = []

    def lines(after=0):
        read.extend(made(after))
        return read

    made = chain_file_module.chain_lines
    with monkeypatch.context() as watched:
        watched.setattr(chain_file_module, "chain_lines", lines)
        grown = chain_publish()
    assert len(read) == grown.number - there.number == 1
    assert grown.path.read_text() == whole_log()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text[:-1],
        lambda text: text[:-30],
        lambda text: text + "\n",
    ],
    ids=["no line end", "cut", "empty line"],
)
def test_a_file_without_a_whole_end_is_written_anew(spoil):
    deed(account("reader"))
    path = chain_publish().path
    path.write_text(spoil(path.read_text()))
    deed(account("another"))
    assert chain_publish().path.read_text() == whole_log()


def test_the_last_entry_is_found_however_long_it_is():
    record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=["x" * 36] * 5000)
    deed(account("reader"))
    chain_publish()
    assert chain_file().number == 2
    record(by=None, action="import", target_kind="registry", target_uuid=None, sheets=["y" * 36] * 5000)
    last = AuditEntry.objects.latest("pk")
    assert (chain_publish().number, chain_file().hash) == (3, AuditEntry.objects.get(pk=last.pk).hash)
