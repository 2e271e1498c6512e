"""Load, kills and growth, against a server of its own on the loopback address.

Bounded in `make test`; `make soak` runs the whole (see sizes.py), which takes hours.
"""

from __future__ import annotations

import json
import random
import statistics
import time
from collections.abc import Iterator

import pytest

from tests.machine import postgres_url
from tests.soak.sizes import Sizes, sizes
from tests.soak.stack import Stack
from tests.soak.traffic import Traffic, run_threads

pytestmark = pytest.mark.xdist_group("soak")  # one stack at a time on a machine
SENDERS, READERS = 3, 4
DRAINED = "SELECT NOT EXISTS (SELECT 1 FROM registry_design WHERE stale)"


@pytest.fixture(scope="module")
def size() -> Sizes:
    return sizes()


@pytest.fixture(scope="module")
def stack(size: Sizes, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stack]:
    server = postgres_url()
    if server is None:
        pytest.skip("no PostgreSQL server answers")
    with Stack(server, workers=2) as stack:
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
    """Before any server runs: what is owed is worked off by one worker, then by two."""
    taken = []
    for workers in (1, 2):
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
    print(
        f"\nrefreshes: {size.designs / taken[0]:.1f}/s by one worker, {size.designs / taken[1]:.1f}/s by two"
    )
    if size.judged:
        assert taken[0] / taken[1] >= 1.7


def test_kills_lose_and_double_nothing(
    stack: Stack, size: Sizes, tokens: list[str], designs: list[str]
) -> None:
    chance = random.Random(1)
    stack.restart()
    traffic = Traffic(stack.port, designs, tokens, seed=1, pause=size.pause, patient=True)
    threads = run_threads([lambda n=n: traffic.sender(n) for n in range(SENDERS)])
    victims = ["server", "child", "worker0", "worker1", "database"]
    for n in range(size.kills):
        time.sleep(chance.uniform(0.1, 1.5))
        victim = victims[n % len(victims)]
        if victim == "child":
            stack.kill_child()
        else:
            stack.kill(victim)
    stack.wait_for_server()
    time.sleep(1)
    traffic.ended.set()
    for thread in threads:
        thread.join(60)

    stored = [
        str(one) for (one,) in stack.ask("SELECT client_id FROM registry_sheet WHERE name LIKE 'sheet-%'")
    ]
    assert len(traffic.acknowledged) >= size.kills, stack.tail()
    assert set(traffic.acknowledged) <= set(stored)
    assert len(stored) == len(set(stored))
    late = stack.wait_until(DRAINED, 60)
    print(f"\n{size.kills} kills, {len(stored)} sheets, charts up to date after {late:.1f} s")
    stack.stop()
    assert ", 0 differ" in stack.run("recompute", "--verify")
    assert "0 new revisions" in stack.run("recompute")
    assert "follows from the one before it" in stack.run("audit")


def test_mixed_traffic_without_an_error(
    stack: Stack, size: Sizes, tokens: list[str], designs: list[str]
) -> None:
    stack.restart()
    traffic = Traffic(stack.port, designs, tokens, seed=2)
    threads = run_threads([lambda n=n: traffic.reader(n) for n in range(READERS)])
    time.sleep(size.seconds / 4)
    before = stack.memory()
    time.sleep(size.seconds * 3 / 4)
    after = stack.memory()
    traffic.ended.set()
    for thread in threads:
        thread.join(60)
    assert traffic.errors == []
    stored = {str(one) for (one,) in stack.ask("SELECT client_id FROM registry_sheet")}
    assert set(traffic.acknowledged) <= stored
    charts, bare = sorted(traffic.seconds["chart"]), statistics.median(traffic.seconds["bare"])
    slow = charts[int(len(charts) * 0.95)]
    print(
        f"\n{len(charts)} charts, 95 % within {slow * 1000:.1f} ms; bare view {bare * 1000:.1f} ms "
        f"({slow / bare:.1f} ×); memory {before / 1024:.0f} → {after / 1024:.0f} MB"
    )
    assert len(charts) > 20
    if size.judged:
        assert slow <= 3 * bare
        assert after <= before * 1.1


def test_a_killed_workers_task_is_taken_over(stack: Stack, designs: list[str]) -> None:
    """The only worker is stopped in mid-task and killed; its successor does the work."""
    stack.stop()
    stack.ask_and_commit(
        "UPDATE registry_design SET stale = true, changes = changes + 1 WHERE id = "
        "(SELECT min(id) FROM registry_design)"
    )
    stack.queue_all()
    stack.ask_and_commit(
        "UPDATE django_tasks_database_dbtaskresult SET status = 'RUNNING', worker_ids = '[\"killed\"]', "
        "started_at = now() WHERE status = 'READY'"
    )
    stack.restart()
    assert stack.wait_until(DRAINED, 30) < 30
