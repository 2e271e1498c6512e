"""A reader with a design; a small registry to copy, and leave to reach the copies."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.db.backends.base.base import BaseDatabaseWrapper

from registry.models import Design, User
from registry.permissions import MODERATORS
from registry.services.audit import chain_seal
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.operations.every_table import rows_everywhere


@pytest.fixture
def reader() -> User:
    return made_user()


@pytest.fixture
def design(reader: User) -> Design:
    return made_design(reader)


@pytest.fixture
def other_databases(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Databases under an alias made on the way may be reached; tests are kept from them otherwise."""
    guarded = inspect.getclosurevars(BaseDatabaseWrapper.ensure_connection).nonlocals
    monkeypatch.setattr(BaseDatabaseWrapper, "ensure_connection", guarded["real_ensure_connection"])


@pytest.fixture
def registry(settings: Any, tmp_path: Path) -> Design:
    """A design with two sheets and a chart, and a picture among the uploads."""
    settings.MEDIA_ROOT = tmp_path / "uploads"
    (tmp_path / "uploads" / "sheets").mkdir(parents=True)
    (tmp_path / "uploads" / "sheets" / "plug.jpg").write_bytes(b"a picture")
    Group.objects.get_or_create(name=MODERATORS)  # as every migrated registry has it
    design = made_design(made_user("proposer"))
    for n in range(2):
        sheet_submit(by=made_user(f"reader{n}"), body=sheet_body(design))
    chain_seal()
    rows_everywhere()
    return design
