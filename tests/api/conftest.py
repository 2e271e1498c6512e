"""What the tests of the API share."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import cache
from rest_framework.test import APIClient

from registry.models import Design, User
from tests.api.made import made_design, made_token, made_user


@pytest.fixture(autouse=True)
def unhurried(settings: Any) -> Iterator[None]:
    """Allowances are tested where they are the subject."""
    framework = copy.deepcopy(settings.REST_FRAMEWORK)
    framework["DEFAULT_THROTTLE_RATES"] = {"anon": "1000000/hour", "user": "1000000/hour"}
    settings.REST_FRAMEWORK = framework
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def guest() -> APIClient:
    return APIClient()


@pytest.fixture
def reader(db: None) -> User:
    return made_user()


@pytest.fixture
def design(reader: User) -> Design:
    return made_design(reader)


@pytest.fixture
def bearer(reader: User) -> APIClient:
    """Signed in with a token that may read and submit."""
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(reader))
    return client
