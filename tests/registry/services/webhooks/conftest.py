"""A receiver on this machine, which webhooks may reach in these tests, and somebody who makes them."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest

from registry.models import User
from registry.services.webhooks import queue as webhook_queue
from tests.api.made import made_user
from tests.registry.services.webhooks.made import Receiver


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    server = Receiver()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def inside(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on an intranet; what is queued is sent when the test says so."""
    settings.DEBUG = settings.BENCHQUORUM_WEBHOOK_PRIVATE = True
    monkeypatch.setattr(webhook_queue, "_queue", lambda here=False: None)


@pytest.fixture
def user(db: None) -> User:
    return made_user()
