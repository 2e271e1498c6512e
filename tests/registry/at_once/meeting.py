"""Two deeds that meet: one is under way in a transaction, the other begins on a connection of its own."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import Future
from threading import Thread
from typing import Any

import pytest
from django.db import connection, connections

on_postgresql = pytest.mark.skipif(
    connection.vendor != "postgresql", reason="SQLite has one writer at a time: no two deeds are under way"
)
WAIT = 20.0  # s, a failed test's


def begun(act: Callable[[], Any]) -> Future[Any]:
    """What becomes of `act`, which has begun in a thread."""
    future: Future[Any] = Future()

    def run() -> None:
        try:
            future.set_result(act())
        except BaseException as error:
            future.set_exception(error)
        finally:
            connections.close_all()

    Thread(target=run).start()
    return future


def until_it_waits(other: Future[Any]) -> bool:
    """Until it waits for a lock that somebody holds; False where it came to its end without."""
    end = time.monotonic() + WAIT
    while time.monotonic() < end:
        if other.done():
            return False
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_stat_clear_snapshot()")  # who is connected is read once a transaction
            cursor.execute(
                "SELECT count(*) FROM pg_locks JOIN pg_stat_activity USING (pid) "
                "WHERE NOT granted AND datname = current_database()"
            )
            if cursor.fetchone()[0]:
                return True
        time.sleep(0.02)
    raise AssertionError("it neither ended nor waited")
