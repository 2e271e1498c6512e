"""Charts are computed as soon as they are owed: each test stays in one transaction, which is quick."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    def now(task: Callable[[], Any], using: str | None = None, robust: bool = False) -> None:
        task()

    monkeypatch.setattr("django.db.transaction.on_commit", now)
