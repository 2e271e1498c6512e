"""Heavy work is done in a process beside: the same answers and errors, whatever becomes of that process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.utils import translation

from registry.apart import NICE, Apart
from registry.errors import RegistryErrors, refuse
from registry.outages import TookTooLong, is_outage
from registry.request_log import request_id


@pytest.fixture(scope="module")
def apart() -> Iterator[Apart]:
    apart = Apart(patience=60)  # it gives way to all the other tests, too
    apart.start()
    _wait_until_up(apart)
    yield apart
    apart.stop()


def _wait_until_up(apart: Apart) -> None:
    until = time.monotonic() + 300  # niced, beside tests on every core
    while apart.run(os.getpid) == os.getpid():
        assert time.monotonic() < until, "the other process did not come up"
        time.sleep(0.05)


@contextmanager
def impatient(apart: Apart) -> Iterator[float]:
    """Few seconds only, of which it has lived long enough to be worth another."""
    long, apart.patience = apart.patience, 3.0
    time.sleep(max(0.0, apart._since + apart.patience - time.monotonic()))
    try:
        yield apart.patience
    finally:
        apart.patience = long


def test_before_it_starts_work_is_done_here() -> None:
    assert Apart().run(os.getpid) == os.getpid()


def test_work_is_done_in_one_other_process_that_gives_way(apart: Apart) -> None:
    there = apart.run(os.getpid)
    assert there != os.getpid() and there == apart.run(os.getpid)
    assert os.getpriority(os.PRIO_PROCESS, there) >= NICE


def test_it_speaks_the_language_of_the_caller(apart: Apart) -> None:
    for language in ("de", "es", "en"):
        with translation.override(language):
            assert apart.run(translation.get_language) == language


def test_an_error_comes_back_as_it_was(apart: Apart) -> None:
    with pytest.raises(RegistryErrors) as caught:
        apart.run(refuse, "/unit/key", "missing", "There is no unit.", "Name it.")
    assert caught.value.as_list() == [
        {"code": "missing", "field": "/unit/key", "message": "There is no unit.", "advice": "Name it."}
    ]
    assert str(caught.value) == "There is no unit. Name it."


def test_where_it_dies_the_work_is_done_all_the_same_and_another_starts(apart: Apart) -> None:
    there = apart.run(os.getpid)
    with impatient(apart):
        os.kill(there, signal.SIGKILL)
        assert apart.run(translation.get_language) == translation.get_language()
    _wait_until_up(apart)
    assert apart.run(os.getpid) != there


def test_a_stuck_one_is_given_up(apart: Apart) -> None:
    there = apart.run(os.getpid)
    with impatient(apart), pytest.raises(TookTooLong) as caught:
        apart.run(time.sleep, 30)
    assert is_outage(caught.value)
    _wait_until_up(apart)
    assert apart.run(os.getpid) != there


def test_who_waits_behind_a_long_one_is_answered(apart: Apart) -> None:
    """Its process is ended, but what came after it had no part in that."""
    with impatient(apart) as patience, ThreadPoolExecutor(2) as two:
        stuck = two.submit(apart.run, time.sleep, 30)
        time.sleep(patience * 0.8)
        waiting = two.submit(apart.run, os.getpid)
        with pytest.raises(TimeoutError):
            stuck.result()
        assert waiting.result() == os.getpid()
    _wait_until_up(apart)


def test_one_that_hardly_lived_is_not_started_again_at_once() -> None:
    apart = Apart(patience=60)
    apart.start()
    _wait_until_up(apart)
    os.kill(apart.run(os.getpid), signal.SIGKILL)
    for _ in range(3):
        assert apart.run(os.getpid) == os.getpid()
    assert apart._since + 60 > time.monotonic()
    apart.stop()


def test_it_works_under_the_id_of_the_request(apart: Apart) -> None:
    token = request_id.set("a-request")
    try:
        asked = "(__import__('os').getpid(), __import__('registry.request_log').request_log.request_id.get())"
        there, told = apart.run(eval, asked)  # no function of ours: the other process doesn't know the tests
        assert there != os.getpid() and told == "a-request"
    finally:
        request_id.reset(token)


def test_it_ends_with_a_parent_that_is_killed() -> None:
    script = (
        "import os, time\n"
        "from registry.apart import Apart\n"
        "if __name__ == '__main__':\n"
        "    apart = Apart()\n"
        "    apart.start()\n"
        "    while apart.run(os.getpid) == os.getpid(): time.sleep(.05)\n"
        "    print(apart.run(os.getpid), flush=True)\n"
        "    time.sleep(60)\n"
    )
    command = [sys.executable, "-c", script]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert _runs(child)
        parent.kill()
    until = time.monotonic() + 60
    while _runs(child) and time.monotonic() < until:
        time.sleep(0.05)
    assert not _runs(child)


def _runs(pid: int) -> bool:
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
