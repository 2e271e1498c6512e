"""A design with a pattern, and somebody with a vehicle."""

from __future__ import annotations

from typing import Any

import pytest

from registry.models import Design, User
from tests.registry.pages.made import account, made_design, made_evidence


@pytest.fixture
def mechanic(db: None) -> User:
    return account("mechanic", "Ferry Slip")


@pytest.fixture
def design(mechanic: User, django_capture_on_commit_callbacks: Any) -> Design:
    made = made_design(mechanic)
    with django_capture_on_commit_callbacks(execute=True):
        made_evidence(made, people=5)
    return made
