"""A vehicle, a day some days ago, and another member, for the tests of a fleet."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from registry.models import (
    Organisation,
    User,
    Vehicle,
)
from registry.services.fleet.organisations import (
    member_invite,
    member_join,
)
from registry.services.fleet.vehicles import vehicle_add
from tests.registry.pages.made import account


def add(by: User, fleet: Organisation, label: str, **more: Any) -> Vehicle:
    return vehicle_add(by=by, organisation=fleet, body={"label": label, **more})


def day(back: int) -> str:
    return (timezone.localdate() - timedelta(days=back)).isoformat()


def joined(fleet: Organisation, owner: User, name: str, role: str) -> User:
    person = account(name)
    member_join(by=person, token=member_invite(by=owner, organisation=fleet, role=role))
    return person
