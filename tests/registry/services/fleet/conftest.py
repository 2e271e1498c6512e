"""A workshop with its owner."""

from __future__ import annotations

import pytest

from registry.models import (
    Organisation,
    User,
)
from registry.services.fleet.organisations import (
    organisation_make,
)
from tests.registry.pages.made import account


@pytest.fixture
def owner(db: None) -> User:
    return account("owner")


@pytest.fixture
def fleet(owner: User) -> Organisation:
    return organisation_make(by=owner, body={"name": "Marsh Quay"})
