"""A queue whose tasks nobody works on: charts are made when a test says so."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture(autouse=True)
def queue(settings: Any) -> None:
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
