"""What the server says of itself has the form of every other line."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from gunicorn.config import Config

from registry.server_log import ServerLog

ROOT = Path(__file__).parents[3]


def test_a_line_of_the_server_is_json_whatever_stands_in_it() -> None:
    said = ServerLog(Config())
    (handler,) = said.error_log.handlers
    record = said.error_log.makeRecord(
        "gunicorn.error", 40, "f", 1, "Worker (pid:%s)\nwas killed", (7,), None
    )
    line = json.loads(handler.format(record))
    assert (line["level"], line["logger"]) == ("ERROR", "gunicorn.error")
    assert line["message"] == "Worker (pid:7)\nwas killed"


def test_a_server_whose_process_is_killed_says_so_in_json(tmp_path: Path) -> None:
    environment = {
        "PATH": os.environ["PATH"], "BENCHQUORUM_DATA": str(tmp_path), "BENCHQUORUM_LOG_FORMAT": "json",
        "BENCHQUORUM_SECRET_KEY": "k" * 50,
    }  # fmt: skip
    log = tmp_path / "log"
    with log.open("wb") as out:
        server = subprocess.Popen(
            [sys.executable, "-m", "gunicorn", "tests.registry.operations.test_server_log:nothing",
             "--bind=127.0.0.1:0", "--workers=1", "--graceful-timeout=1", "--log-level=warning",
             "--error-logfile=-", "--logger-class=registry.server_log.ServerLog"],
            cwd=ROOT, env=environment, stderr=out, stdout=out,
        )  # fmt: skip
        try:
            os.kill(_child(server.pid), signal.SIGKILL)
            until = time.monotonic() + 60
            while not log.read_text().strip() and time.monotonic() < until:
                time.sleep(0.05)
        finally:
            server.terminate()
            server.wait(60)  # a process that is just being forked takes no SIGTERM
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    assert any("SIGKILL" in line["message"] for line in lines), lines


def _child(pid: int) -> int:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        if children:
            return int(children[0])
        time.sleep(0.05)
    raise AssertionError("the server started no process")


def nothing(environ: object, start_response: object) -> list[bytes]:
    """An application that is never asked."""
    return []
