"""People, a design, and evidence for the pages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from registry.models import Design, User
from tests.registry.pages.made import account, made_design, made_evidence


@pytest.fixture
def reader(db: None) -> User:
    return account("me", "Ferry Slip")


@pytest.fixture
def design(reader: User) -> Design:
    return made_design(reader)


@pytest.fixture
def evidence(design: Design, django_capture_on_commit_callbacks: Any) -> Callable[..., None]:
    """Adds sheets of so many other people and computes the chart."""

    def add(people: int = 4) -> None:
        with django_capture_on_commit_callbacks(execute=True):
            made_evidence(design, people)

    return add


@pytest.fixture
def committed(django_capture_on_commit_callbacks: Any) -> Callable[[], Any]:
    return lambda: django_capture_on_commit_callbacks(execute=True)
