"""The people and the design of the tests of the services."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.models import User
from tests.registry.services.jobs.conftest import design as design
from tests.registry.services.jobs.conftest import mechanic as mechanic


@pytest.fixture
def browser(client: Client, mechanic: User) -> Client:
    client.force_login(mechanic)
    return client
