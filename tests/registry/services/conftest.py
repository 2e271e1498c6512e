"""A mail server that does what it is told, and a queue before it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import cache

from registry.services import mail
from tests.registry.services.mail_servers import SCRIPTED, Scripted


@pytest.fixture
def outbox(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The settings of a registry, with a mail server that does what it is told."""
    settings.EMAIL_BACKEND = "registry.services.mail.Outbox"
    settings.BENCHQUORUM_EMAIL_BACKEND = SCRIPTED
    monkeypatch.setattr(mail, "_rest_until", 0.0)
    Scripted.begin()
    cache.clear()  # one link a while for each address


@pytest.fixture
def queue(settings: Any) -> Iterator[None]:
    settings.TASKS_QUEUE = "database"
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    yield
