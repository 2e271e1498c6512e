"""Load, kills and growth, against a server of its own on the loopback address.

Bounded in `make test`; `make soak` runs the whole (see sizes.py), which takes hours.
"""

from __future__ import annotations

import json
import random
import statistics
import time
from collections.abc import Callable, Iterator

import psycopg
import pytest

from tests.machine import postgres_programs
from tests.soak.sizes import Sizes, sizes
from tests.soak.stack import Stack
from tests.soak.traffic import Traffic, run_threads

pytestmark = pytest.mark.xdist_group("soak")  # one stack at a time on a machine
SENDERS, READERS = 3, 4
PEOPLE, THINK = 20, 0.1  # s that one looks at an answer, on average
VICTIMS = ("server", "database", "worker0", "child", "beside", "worker1", "lines")
DRAINED = "SELECT NOT EXISTS (SELECT 1 FROM registry_design WHERE stale)"
RUNNING = "SELECT EXISTS (SELECT 1 FROM django_tasks_database_dbtaskresult WHERE status = 'RUNNING')"


@pytest.fixture(scope="module")
def size() -> Sizes:
    return sizes()


@pytest.fixture(scope="module")
def stack(size: Sizes, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stack]:
    if postgres_programs() is None:
        pytest.skip("no PostgreSQL server is installed")
    with Stack(workers=2) as stack:
        file = tmp_path_factory.mktemp("soak") / "readings.csv"
        stack.python("tests.soak.fill", str(file), str(size.designs), str(size.units))
        stack.run("import", str(file))
        yield stack


@pytest.fixture(scope="module")
def tokens(stack: Stack) -> list[str]:
    return list(json.loads(stack.python("tests.soak.fill", "people", str(SENDERS))))


@pytest.fixture(scope="module")
def designs(stack: Stack) -> list[str]:
    return [str(uuid) for (uuid,) in stack.ask("SELECT uuid FROM registry_design ORDER BY id")]


def test_two_workers_refresh_faster_than_one_and_none_twice(stack: Stack, size: Sizes) -> None:
    """Before any server runs: what is owed is worked off by one worker, by two, and by one again.

    The two are held against the mean of the ones before and after, for each round has less evidence.
    """
    taken = []
    for workers in (1, 2, 1):
        # each design loses a sheet, so that there is something to compute
        stack.ask_and_commit(
            "UPDATE registry_sheet SET withdrawn_at = now() WHERE id IN "
            "(SELECT max(id) FROM registry_sheet WHERE withdrawn_at IS NULL GROUP BY design_id)"
        )
        stack.ask_and_commit("UPDATE registry_design SET stale = true, changes = changes + 1")
        stack.queue_all()
        before = stack.ask("SELECT count(*) FROM registry_chartrevision")[0][0]
        taken.append(stack.work_off(workers))
        made = stack.ask("SELECT count(*) FROM registry_chartrevision")[0][0] - before
        assert made == size.designs
        assert stack.ask(DRAINED)[0][0]
    one, two = (taken[0] + taken[2]) / 2, taken[1]
    print(f"\nrefreshes: {size.designs / one:.1f}/s by one worker, {size.designs / two:.1f}/s by two")
    if size.judged:
        assert one / two >= 1.7


def test_kills_lose_and_double_nothing(
    stack: Stack, size: Sizes, tokens: list[str], designs: list[str]
) -> None:
    chance = random.Random(1)
    stack.restart()
    traffic = Traffic(stack.port, designs, tokens, seed=1, pause=size.pause, patient=True)
    senders = [lambda n=n: traffic.sender(n) for n in range(SENDERS)]
    threads = run_threads([*senders, lambda: traffic.checker(SENDERS)])
    for n in range(size.kills):
        if n % 2:  # every other one hits what works, the rest what is just coming up again
            known = len(traffic.acknowledged)
            _wait(30, lambda known=known: len(traffic.acknowledged) > known)
        time.sleep(chance.uniform(0.1, 1.5))
        stack.kill(VICTIMS[n % len(VICTIMS)])
    stack.wait_for_server()
    _wait(60, lambda: len(traffic.acknowledged) >= size.kills and bool(traffic.seconds["check"]))
    traffic.ended.set()
    for thread in threads:
        thread.join(60)

    stored = [
        str(one) for (one,) in stack.ask("SELECT client_id FROM registry_sheet WHERE name LIKE 'sheet-%'")
    ]
    assert len(traffic.acknowledged) >= size.kills, stack.tail()
    assert traffic.seconds["check"], stack.tail()
    assert set(traffic.acknowledged) <= set(stored)
    assert len(stored) == len(set(stored))
    late = stack.wait_until(DRAINED, 180)
    print(f"\n{size.kills} kills, {len(stored)} sheets, charts up to date after {late:.1f} s")
    stack.stop()
    assert ", 0 differ" in stack.run("recompute", "--verify")
    assert "0 new revisions" in stack.run("recompute")
    assert "follows from the one before it" in stack.run("audit")


@pytest.mark.parametrize("think", [THINK, 0.0], ids=["busy day", "flat out"])
def test_mixed_traffic_without_an_error(
    stack: Stack, size: Sizes, tokens: list[str], designs: list[str], think: float
) -> None:
    """A busy day: as many people as ask some 200 times a second, 17 million times a day.

    Flat out nothing may get lost either, but times are told and not judged: where every core that server,
    database, workers and these clients share is busy all the time, a bare view itself takes three times its
    median and more at 95 %.
    """
    seconds, readers = (size.seconds, PEOPLE) if think else (max(size.seconds / 10, 3), READERS)
    stack.restart()
    assert _wait(60, lambda: len(stack.beside()) == 2)
    traffic = Traffic(stack.port, designs, tokens, seed=2 if think else 3, think=think)
    threads = run_threads([lambda n=n: traffic.reader(n) for n in range(readers)])
    time.sleep(seconds / 4)
    before = stack.memory()
    time.sleep(seconds * 3 / 4)
    after = stack.memory()
    traffic.ended.set()
    for thread in threads:
        thread.join(60)
    assert traffic.errors == []
    stored = {str(one) for (one,) in stack.ask("SELECT client_id FROM registry_sheet")}
    assert set(traffic.acknowledged) <= stored
    charts, bare = sorted(traffic.seconds["chart"]), sorted(traffic.seconds["bare"])
    slow, median = charts[int(len(charts) * 0.95)], statistics.median(bare)
    print(
        f"\n{(len(charts) + len(bare)) / seconds:.0f} reads a second; "
        f"charts: median {statistics.median(charts) * 1000:.1f} ms, 95 % within {slow * 1000:.1f} ms; "
        f"bare view: median {median * 1000:.1f} ms, 95 % within {bare[int(len(bare) * 0.95)] * 1000:.1f} ms "
        f"({slow / median:.1f} ×); memory {before / 1024:.0f} → {after / 1024:.0f} MB"
    )
    assert len(charts) > 20
    if size.judged and think:
        assert slow <= 3 * median
        assert after <= before * 1.1


def test_a_killed_workers_task_is_taken_over(stack: Stack, size: Sizes) -> None:
    """The only worker is killed in mid-task, where a lock of ours holds it up; its successor does the work.

    In the long form with the default of how long a worker may be silent: within a minute all the same.
    """
    stack.stop()
    if size.judged:
        del stack.environment["BENCHQUORUM_WORKER_SILENT"]
    stack.ask_and_commit(
        "UPDATE registry_design SET stale = true, changes = changes + 1 "
        "WHERE id = (SELECT min(id) FROM registry_design)"
    )
    stack.queue_all()
    with psycopg.connect(stack.url) as ours:
        ours.execute("SELECT 1 FROM registry_design WHERE stale FOR UPDATE")
        stack.start_one("worker0")
        stack.wait_until(RUNNING, 120)  # workers give way to all else
        stack.kill("worker0")
    assert not stack.ask(DRAINED)[0][0]
    stack.restart()
    within = 60 if size.judged else 300
    assert stack.wait_until(DRAINED, within) < within


def _wait(seconds: float, happened: Callable[[], bool]) -> bool:
    until = time.monotonic() + seconds
    while not (there := happened()) and time.monotonic() < until:
        time.sleep(0.1)
    return there
