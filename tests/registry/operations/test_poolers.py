"""Behind PgBouncer: by session everything works; by transaction requests do, and the rest refuses."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
from django.db import connection

from registry.poolers import kept_for_us
from registry.selectors.chart_watch import ChartWatch
from tests.machine import in_ci

ROOT = Path(__file__).parents[3]
pytestmark = [
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has no lines to share"),
    pytest.mark.skipif(
        shutil.which("pgbouncer") is None and not in_ci(), reason="no PgBouncer on this machine"
    ),
    pytest.mark.django_db(transaction=True),
]


@dataclass(frozen=True)
class Addresses:
    """Three ways to the tests' database."""

    direct: str
    session: str
    transaction: str


@pytest.fixture
def addresses(tmp_path: Path, db: None) -> Iterator[Addresses]:
    at = urlsplit(os.environ["DATABASE_URL"])
    name = connection.settings_dict["NAME"]
    server = f"host={at.hostname} port={at.port or 5432} dbname={name} user={at.username}"
    server += f" password={at.password}" if at.password else ""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    ini = tmp_path / "pgbouncer.ini"
    ini.write_text(
        f"[databases]\nby_session = {server} pool_mode=session\n"
        f"by_transaction = {server} pool_mode=transaction\n"
        f"[pgbouncer]\nlisten_addr = 127.0.0.1\nlisten_port = {port}\nunix_socket_dir =\nauth_type = any\n"
    )
    ini.chmod(0o644)
    # it never works as root
    other = {"user": "nobody"} if os.geteuid() == 0 else {}
    with ini.open("rb") as given:
        pooler = subprocess.Popen(
            ["pgbouncer", "--quiet", f"/dev/fd/{given.fileno()}"], pass_fds=[given.fileno()], **other
        )
        try:
            _until_it_answers(port)
            yield Addresses(
                at._replace(path=f"/{name}").geturl(),
                f"postgres://anybody@127.0.0.1:{port}/by_session",
                f"postgres://anybody@127.0.0.1:{port}/by_transaction",
            )
        finally:
            pooler.terminate()
            pooler.wait(20)


def _until_it_answers(port: int) -> None:
    last = time.monotonic() + 20
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            assert time.monotonic() < last
            time.sleep(0.05)


def line_to(address: str) -> psycopg.Connection[Any]:
    return psycopg.connect(address, autocommit=True)


@pytest.mark.parametrize(("way", "ours"), [("direct", True), ("session", True), ("transaction", False)])
def test_a_line_that_others_get_meanwhile_is_told_from_one_of_our_own(
    addresses: Addresses, monkeypatch: pytest.MonkeyPatch, way: str, ours: bool
) -> None:
    address = getattr(addresses, way)
    monkeypatch.setattr("registry.poolers.own_line", lambda: line_to(address))
    with line_to(address) as line:
        assert kept_for_us(line) is ours


@pytest.mark.parametrize(("way", "sound"), [("session", True), ("transaction", False)])
def test_where_nobody_is_told_every_read_asks(
    addresses: Addresses, monkeypatch: pytest.MonkeyPatch, way: str, sound: bool
) -> None:
    """A chart that was withdrawn would be served on from what the process remembers."""
    address = getattr(addresses, way)
    for module in ("registry.poolers", "registry.selectors.chart_watch"):
        monkeypatch.setattr(f"{module}.own_line", lambda: line_to(address))
    watch = ChartWatch()
    watch.start()
    try:
        last = time.monotonic() + 5
        while time.monotonic() < last and watch._sound_until == 0.0:
            time.sleep(0.02)
        assert (watch._sound_until > 0.0) is sound
    finally:
        watch.stop()


def run(addresses: Addresses, folder: Path, *command: str, **environment: str) -> Any:
    given = {
        "PATH": os.environ["PATH"], "DJANGO_SETTINGS_MODULE": "registry.settings",
        "BENCHQUORUM_DATA": str(folder), "BENCHQUORUM_QUEUE": "database", "BENCHQUORUM_SECRET_KEY": "k" * 50,
        **environment,
    }  # fmt: skip
    return subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=given, capture_output=True, text=True, timeout=100,
        check=False,
    )  # fmt: skip


@pytest.mark.parametrize("command", [["work", "--batch"], ["audit"], ["migrate", "--quiet"]])
def test_workers_and_commands_refuse_a_pooler_by_transaction_and_take_one_by_session(
    addresses: Addresses, tmp_path: Path, command: list[str]
) -> None:
    called = ("-m", "registry.commands.main", *command)
    refused = run(addresses, tmp_path, *called, DATABASE_URL=addresses.transaction)
    assert refused.returncode == 2 and "BENCHQUORUM_POOLER" in refused.stderr, refused
    taken = run(addresses, tmp_path, *called, DATABASE_URL=addresses.session)
    assert taken.returncode == 0, taken


SERVES = """
from registry import wsgi
import time
from django.db import connection
from registry.models import AuditEntry
from registry.selectors.chart_watch import watch
list(AuditEntry.objects.iterator(chunk_size=1))
with connection.cursor() as cursor:
    cursor.execute("SELECT pg_backend_pid()")
    pooled = cursor.fetchone()[0] != connection.connection.info.backend_pid
last = time.monotonic() + 30
while watch._sound_until == 0 and time.monotonic() < last:
    time.sleep(0.05)
print(pooled, watch._sound_until > 0, connection.settings_dict["DISABLE_SERVER_SIDE_CURSORS"])
wsgi.watch.stop(); wsgi.apart.stop()
"""


def test_requests_go_through_the_pooler_and_who_listens_past_it(addresses: Addresses, tmp_path: Path) -> None:
    done = run(
        addresses, tmp_path, "-c", SERVES,
        DATABASE_URL=addresses.direct, BENCHQUORUM_POOLER=addresses.transaction,
    )  # fmt: skip
    assert done.stdout.split() == ["True", "True", "True"], done
