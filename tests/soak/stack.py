"""A whole registry on the loopback address: PostgreSQL, server, workers, each started again when it dies."""

from __future__ import annotations

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

ROOT = Path(__file__).parents[2]
NAME = f"benchquorum_soak_{os.getpid()}"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Stack:
    """Kills only what it has started."""

    def __init__(self, server: str, *, workers: int) -> None:
        self.admin_url, self.port = server, free_port()
        self.folder = tempfile.TemporaryDirectory(prefix="benchquorum-soak-")
        self.log = (Path(self.folder.name) / "log").open("ab")
        self.url = server.rsplit("/", 1)[0] + f"/{NAME}"
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
        self._admin(f"DROP DATABASE IF EXISTS {NAME}", f"CREATE DATABASE {NAME}")
        self.run("migrate", "--quiet")
        return self

    def __exit__(self, *error: object) -> None:
        self.stop()
        self.log.close()
        self._admin(f"DROP DATABASE IF EXISTS {NAME} WITH (FORCE)")
        self.folder.cleanup()

    def _admin(self, *statements: str) -> None:
        with psycopg.connect(self.admin_url, autocommit=True) as connection:
            for statement in statements:
                connection.execute(statement)  # type: ignore[call-overload]

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
        self._start("server")
        for n in range(self.workers):
            self._start(f"worker{n}")
        self.keeper.start()
        self.wait_for_server()

    def _start(self, name: str) -> None:
        command = ["serve", "--workers", "2", "--port", str(self.port)] if name == "server" else ["work"]
        self.running[name] = subprocess.Popen(
            [sys.executable, "-m", "registry.commands.main", *command],
            cwd=ROOT, env=self.environment, stdout=self.log, stderr=self.log, start_new_session=True,
        )  # fmt: skip

    def _keep(self) -> None:
        while not self.ended.wait(0.1):
            for name, process in list(self.running.items()):
                if process.poll() is not None and not self.ended.is_set():
                    self._start(name)

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
        """kill -9, of the process alone; “database”: every connection to our database is cut."""
        if name == "database":
            self._admin(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{NAME}'")
            return
        self.running[name].kill()

    def kill_child(self) -> None:
        """One of the server's own processes."""
        children = Path(f"/proc/{self.running['server'].pid}/task/{self.running['server'].pid}/children")
        try:
            pids = [int(pid) for pid in children.read_text().split()]
            if pids:
                os.kill(pids[0], signal.SIGKILL)
        except (OSError, ProcessLookupError):
            pass

    def stop(self) -> None:
        self.ended.set()
        if self.keeper.is_alive():
            self.keeper.join()
        for process in self.running.values():
            process.terminate()
        for process in self.running.values():
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()
        self.running.clear()

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
        """kB that server and workers hold."""
        total = 0
        for process in self.running.values():
            for pid in [process.pid, *_children(process.pid)]:
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
    try:
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []
