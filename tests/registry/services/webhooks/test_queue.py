"""Where there is no queue a thread sends; what comes while it ends or waits is sent all the same."""

from __future__ import annotations

import threading
import time
from typing import Any

import pytest

from registry.services.webhooks import queue as webhook_queue
from registry.services.webhooks import sending as webhook_sending


@pytest.mark.parametrize("rest", [None, 500.0], ids=["about to end", "waits for a later try"])
def test_a_change_wakes_the_thread(monkeypatch: pytest.MonkeyPatch, rest: float | None) -> None:
    sent: list[int] = []
    looked, may_go_on = threading.Event(), threading.Event()

    def nothing_more() -> float | None:
        looked.set()
        may_go_on.wait(60)
        return rest if len(sent) == 1 else None

    monkeypatch.setattr(webhook_sending, "deliveries_send", lambda: sent.append(1))
    monkeypatch.setattr(webhook_queue, "seconds_to_next", nothing_more)
    webhook_queue._start_thread()
    assert looked.wait(60)  # it has sent, and found nothing more to send for now
    if rest is not None:
        may_go_on.set()
        time.sleep(0.2)
    webhook_queue._start_thread()
    may_go_on.set()
    _until(lambda: len(sent) == 2)
    _until(lambda: webhook_queue._thread is None)


def test_a_thread_that_failed_is_followed_by_another(monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[int] = []

    def fails_once() -> None:
        sent.append(1)
        if len(sent) == 1:
            raise OSError

    monkeypatch.setattr(webhook_sending, "deliveries_send", fails_once)
    monkeypatch.setattr(webhook_queue, "seconds_to_next", lambda: None)
    for times in (1, 2):
        webhook_queue._start_thread()
        _until(lambda times=times: len(sent) == times and webhook_queue._thread is None)


def _until(happened: Any) -> None:
    until = time.monotonic() + 60
    while not happened():
        assert time.monotonic() < until
        time.sleep(0.01)
