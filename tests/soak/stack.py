"""A whole registry on the loopback address: database, server, workers, each started again when it dies."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path
from typing import Any

import psycopg

from tests.soak.database import Database

ROOT = Path(__file__).parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Stack:
    """Kills only what it has started."""

    def __init__(self, *, workers: int) -> None:
        self.port = free_port()
        self.folder = tempfile.TemporaryDirectory(prefix="benchquorum-soak-")
        self.log = (Path(self.folder.name) / "log").open("ab")
        self.database = Database(free_port(), self.log.fileno())
        self.url = self.database.url
        self.environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith(("BENCHQUORUM_", "DJANGO_"))},
            "DATABASE_URL": self.url,
            "BENCHQUORUM_DATA": self.folder.name,
            "BENCHQUORUM_QUEUE": "database",
            "BENCHQUORUM_WORKER_SILENT": "5",
            "BENCHQUORUM_NEW_SHEETS": "0",
            "BENCHQUORUM_RATE_GUEST": "100000000/hour",
            "BENCHQUORUM_RATE_ACCOUNT": "100000000/hour",
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        self.workers = workers
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.ended = threading.Event()
        self.keeper = threading.Thread(target=self._keep, daemon=True)

    def __enter__(self) -> Stack:
        self.running["database"] = self.database.start()
        self.database.wait()
        self.run("migrate", "--quiet")
        return self

    def __exit__(self, *error: object) -> None:
        self.stop()
        self._end("database")
        self.log.close()
        self.database.remove()
        self.folder.cleanup()

    def run(self, *arguments: str, check: bool = True) -> str:
        """A command to its end; what it printed."""
        done = subprocess.run(
            [sys.executable, "-m", "registry.commands.main", *arguments],
            cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert not check or done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def python(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", *arguments],
            cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def start(self) -> None:
        """Server and workers; whatever dies from now on is started again at once."""
        self.ended.clear()
        self.start_one("server")
        for n in range(self.workers):
            self.start_one(f"worker{n}")
        self.keeper.start()
        self.wait_for_server()

    def start_one(self, name: str) -> None:
        """Under no keeper."""
        if name == "database":
            self.running[name] = self.database.start()
            return
        command = ["serve", "--workers", "2", "--port", str(self.port)] if name == "server" else ["work"]
        self.running[name] = subprocess.Popen(
            [sys.executable, "-m", "registry.commands.main", *command],
            cwd=ROOT, env=self.environment, stdout=self.log, stderr=self.log, start_new_session=True,
        )  # fmt: skip

    def _keep(self) -> None:
        while not self.ended.wait(0.1):
            for name, process in list(self.running.items()):
                if process.poll() is not None and not self.ended.is_set():
                    self.start_one(name)

    def wait_for_server(self, seconds: float = 60) -> None:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/health/ready", timeout=5):
                    return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the server did not come up: " + self.tail())

    def kill(self, name: str) -> None:
        """kill -9, of the process alone.

        “child”: one of the server's processes; “beside”: one that weighs sheets for them; “lines”: what is
        killed is every connection to the database.
        """
        if name == "lines":
            with contextlib.suppress(psycopg.OperationalError):
                self.ask("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = 'postgres'")
            return
        pids = {"child": _children, "beside": _beside}.get(name, lambda pid: [pid])(self._pid(name))
        for pid in pids[:1]:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)

    def beside(self) -> list[int]:
        """Processes that weigh sheets for those of the server."""
        return _beside(self.running["server"].pid)

    def _pid(self, name: str) -> int:
        return self.running["server" if name in ("child", "beside") else name].pid

    def stop(self) -> None:
        """All but the database."""
        self.ended.set()
        if self.keeper.is_alive():
            self.keeper.join()
        self._end(*(name for name in self.running if name != "database"))
        if self.running["database"].poll() is not None:
            self.start_one("database")
            self.database.wait()

    def _end(self, *names: str) -> None:
        for name in names:
            self.running[name].terminate()
        for name in names:
            process = self.running.pop(name)
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()

    def ask(self, query: str) -> list[Any]:
        with psycopg.connect(self.url) as connection:
            return connection.execute(query).fetchall()  # type: ignore[call-overload]

    def ask_and_commit(self, statement: str) -> None:
        with psycopg.connect(self.url, autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[call-overload]

    def queue_all(self) -> None:
        """Every design that is owed a chart, into the queue."""
        self.python("tests.soak.fill", "owed")

    def work_off(self, workers: int) -> float:
        """Seconds that so many workers take to empty the queue, their start not counted."""
        since = time.monotonic()
        started = [
            subprocess.Popen(
                [sys.executable, "-m", "registry.commands.main", "work", "--batch"],
                cwd=ROOT, env=self.environment, stdout=self.log, stderr=self.log,
            )
            for _ in range(workers)
        ]  # fmt: skip
        for process in started:
            assert process.wait(3600) == 0, self.tail()
        first, last = self.ask(
            "SELECT min(started_at), max(finished_at) FROM django_tasks_database_dbtaskresult "
            f"WHERE finished_at > now() - interval '{time.monotonic() - since + 1} s'"
        )[0]
        return float((last - first).total_seconds())

    def restart(self) -> None:
        """Server and workers anew, under a keeper of their own."""
        self.stop()
        self.keeper = threading.Thread(target=self._keep, daemon=True)
        self.start()

    def wait_until(self, query: str, seconds: float) -> float:
        """Seconds until the query answers true."""
        since = time.monotonic()
        while time.monotonic() - since < seconds:
            try:
                if self.ask(query)[0][0]:
                    return time.monotonic() - since
            except psycopg.OperationalError:
                pass
            time.sleep(0.1)
        raise AssertionError(f"not within {seconds} s: {query}\n{self.tail()}")

    def memory(self) -> int:
        """kB that server and workers hold, with all that they have started."""
        total = 0
        for name, process in self.running.items():
            for pid in _family(process.pid) if name != "database" else ():
                try:
                    status = Path(f"/proc/{pid}/status").read_text()
                except OSError:
                    continue
                total += sum(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))
        return total

    def tail(self) -> str:
        self.log.flush()
        return (Path(self.folder.name) / "log").read_text()[-3000:]


def _children(pid: int) -> list[int]:
    """Of whichever of its threads."""
    try:
        told = [file.read_text().split() for file in Path(f"/proc/{pid}/task").glob("*/children")]
    except OSError:
        return []
    return [int(child) for some in told for child in some]


def _family(pid: int) -> list[int]:
    return [pid, *(one for child in _children(pid) for one in _family(child))]


def _beside(pid: int) -> list[int]:
    """Python calls a process that was spawned for another's work so."""
    found = []
    for one in _family(pid):
        with contextlib.suppress(OSError):
            if b"spawn_main" in Path(f"/proc/{one}/cmdline").read_bytes():
                found.append(one)
    return found
