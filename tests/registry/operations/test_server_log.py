"""What the server says of itself has the form of every other line."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from gunicorn.config import Config

from registry.server_log import ServerLog

ROOT = Path(__file__).parents[3]


def server_log() -> tuple[ServerLog, logging.Handler]:
    logging.getLogger("gunicorn.error").handlers.clear()
    said = ServerLog(Config())
    (handler,) = said.error_log.handlers
    return said, handler


def test_a_line_of_the_server_is_json_whatever_stands_in_it() -> None:
    said, handler = server_log()
    record = said.error_log.makeRecord(
        "gunicorn.error", 40, "f", 1, "Worker (pid:%s)\nwas killed", (7,), None
    )
    line = json.loads(handler.format(record))
    assert (line["level"], line["logger"]) == ("ERROR", "gunicorn.error")
    assert line["message"] == "Worker (pid:7)\nwas killed"


@pytest.mark.parametrize(
    ("says", "told"),
    [
        (
            ("Invalid request from ip=192.0.2.7: Invalid HTTP request line: 'GET /shared/TOKEN'",),
            "Invalid request",
        ),
        (("Error handling request %s %s", "GET", "/shared/TOKEN?q=1"), "Error handling request"),
    ],
)
def test_a_line_of_the_server_tells_no_address_and_no_link(says: tuple[str, ...], told: str) -> None:
    said, handler = server_log()
    record = said.error_log.makeRecord("gunicorn.error", 30, "f", 1, says[0], says[1:], None)
    assert handler.filter(record)
    assert json.loads(handler.format(record))["message"] == told


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


def said(folder: Path, *arguments: str, **environment: str) -> list[str]:
    """Lines on standard error of a process of its own."""
    done = subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, timeout=100, check=False,
        env={"PATH": os.environ["PATH"], "BENCHQUORUM_DATA": str(folder), **environment},
    )  # fmt: skip
    return done.stderr.splitlines()


@pytest.mark.parametrize(
    ("command", "why"),
    [
        ("work", "BENCHQUORUM_QUEUE=database"),
        ("due", "benchquorum migrate"),
        ("serve", "BENCHQUORUM_SECRET_KEY"),
    ],
)
def test_why_a_process_does_not_start_is_a_line_of_the_log(tmp_path: Path, command: str, why: str) -> None:
    called = ("-m", "registry.commands.main", command)
    hosts = "registry.example" if command == "serve" else "127.0.0.1"
    if command == "work":
        assert said(tmp_path, "-m", "registry.commands.main", "migrate", "--quiet") == []
    lines = [json.loads(line) for line in said(tmp_path, *called, BENCHQUORUM_HOSTS=hosts)]
    assert [line["level"] for line in lines] == ["ERROR"] and why in lines[0]["message"]
    plain = said(tmp_path, *called, BENCHQUORUM_HOSTS=hosts, BENCHQUORUM_LOG_FORMAT="plain")
    assert len(plain) == 1 and plain[0].startswith("benchquorum: ")


UNFORESEEN = """
import os, threading, warnings
os.environ["DJANGO_SETTINGS_MODULE"] = "registry.settings"
import django
django.setup()
from registry.log_lines import own_words_too
own_words_too()
warnings.warn("worn out", ResourceWarning, stacklevel=1)
thread = threading.Thread(target=lambda: {}["lost"])
thread.start()
thread.join()
raise ValueError("two\\nlines")
"""


def test_what_python_itself_says_is_a_line_of_the_log(tmp_path: Path) -> None:
    lines = [json.loads(line) for line in said(tmp_path, "-W", "always", "-c", UNFORESEEN)]
    assert [(line["logger"], line["level"]) for line in lines] == [
        ("py.warnings", "WARNING"), ("registry.uncaught", "CRITICAL"), ("registry.uncaught", "CRITICAL"),
    ]  # fmt: skip
    assert "worn out" in lines[0]["message"]
    assert "KeyError: 'lost'" in lines[1]["error"] and "ValueError: two\nlines" in lines[2]["error"]
