"""A PostgreSQL server of the soak's own: it is killed in mid-work and has to recover."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg

from tests.machine import postgres_programs

SETTINGS = {
    "listen_addresses": "127.0.0.1",
    "unix_socket_directories": "",
    "log_min_messages": "fatal",
    "max_connections": "100",
}


class Database:
    """In a folder of its own, with the settings that hold what was acknowledged."""

    def __init__(self, port: int, log: int) -> None:
        self.port, self.log = port, log
        self.url = f"postgres://soak@127.0.0.1:{port}/postgres"
        self.folder = Path(tempfile.mkdtemp(prefix="benchquorum-soak-database-"))
        # PostgreSQL refuses to run as root
        self.owner = "postgres" if os.geteuid() == 0 else None
        if self.owner:
            shutil.chown(self.folder, self.owner)
        made = [
            "initdb",
            "-D",
            str(self.folder),
            "-U",
            "soak",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C.UTF-8",
        ]
        assert self._run(made).wait() == 0

    def _run(self, command: list[str]) -> subprocess.Popen[bytes]:
        program = postgres_programs()
        assert program is not None
        return subprocess.Popen(
            [program / command[0], *command[1:]],
            cwd=self.folder, user=self.owner, stdout=self.log, stderr=self.log, start_new_session=True,
        )  # fmt: skip

    def start(self) -> subprocess.Popen[bytes]:
        given = [part for name, value in SETTINGS.items() for part in ("-c", f"{name}={value}")]
        return self._run(["postgres", "-D", str(self.folder), "-p", str(self.port), *given])

    def wait(self, seconds: float = 60) -> None:
        """Until it answers."""
        until = time.monotonic() + seconds
        while True:
            try:
                psycopg.connect(self.url, connect_timeout=3).close()
                return
            except psycopg.OperationalError:
                assert time.monotonic() < until, "the database did not come up"
                time.sleep(0.05)

    def remove(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)
