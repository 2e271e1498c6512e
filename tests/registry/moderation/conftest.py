"""Charts are computed as soon as they are owed: each test stays in one transaction, which is quick."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from registry.models import Design, Sheet, User
from tests.registry.moderation.made import account, made_design, made_sheet, mirrored, pattern, readers


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    def now(task: Callable[[], Any], using: str | None = None, robust: bool = False) -> None:
        task()

    monkeypatch.setattr("django.db.transaction.on_commit", now)


@pytest.fixture
def moderators() -> list[User]:
    return [account(f"moderator{n}", moderator=True) for n in range(2)]


@pytest.fixture
def people() -> list[User]:
    """Four workshops: what an agreed cell needs, and one more."""
    return readers(4)


@pytest.fixture
def world() -> tuple[Design, list[Sheet], list[User]]:
    """Six workshops read one design; the sheet of the last is numbered from the other face."""
    people = readers(6)
    design = made_design(people[0])
    sheets = [made_sheet(person, design) for person in people[:5]]
    sheets.append(made_sheet(people[5], design, mirrored(pattern())))
    return design, sheets, people
