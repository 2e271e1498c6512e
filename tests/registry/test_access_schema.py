"""The matrix of who may do what and the description of the API say the same of every operation."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from rest_framework.test import APIClient

from api.views.description import description
from tests.api.made import made_token
from tests.registry.access_matrix import METHODS, Address, addresses
from tests.registry.access_world import made_world
from tests.registry.test_access import WHO, expected

Operation = tuple[Address, str, list[dict[str, Any]]]
NOT_DESCRIBED = {"api_docs", "api_nowhere"}  # a page, and what answers where there is nothing
SCOPES = ("read", "submit", "moderate")
ON_PATH = re.compile(r"<(?:\w+:)?(\w+)>")


@pytest.fixture(autouse=True)
def as_in_use(settings: Any) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = True


def described() -> tuple[list[Operation], list[str]]:
    """Address, method and declared security of each operation; and those whose address there is not."""
    by_path = {"/" + ON_PATH.sub(r"{\1}", address.route): address for address in addresses()}
    found, lost = [], []
    for path, item in json.loads(description()[0])["paths"].items():
        for method in METHODS:
            if method in item and path not in by_path:
                lost.append(f"{method} {path}")
            elif method in item:
                found.append((by_path[path], method, item[method].get("security", [{}])))
    return found, lost


OPERATIONS, LOST = described()


def test_every_operation_is_in_the_matrix() -> None:
    assert not LOST and len(OPERATIONS) > 80
    assert {address.name for address, _method, _security in OPERATIONS} <= set(WHO)


@pytest.mark.django_db
def test_every_method_of_the_matrix_is_described_and_no_other() -> None:
    world, wrong = made_world(), []
    client = world.client("moderator")
    told = {(address.name, method) for address, method, _security in OPERATIONS}
    for address in addresses():
        if not address.route.startswith("api/") or address.name in NOT_DESCRIBED:
            continue
        for method in METHODS:
            offered = getattr(client, method)(world.path(address)).status_code != 405
            if offered != ((address.name, method) in told):
                wrong.append(f"{method} {address.route}: offered {offered}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("address", "method", "security"), OPERATIONS, ids=[f"{m} {a.name}" for a, m, _s in OPERATIONS]
)
def test_what_is_declared_open_is_what_a_guest_may(
    address: Address, method: str, security: list[dict[str, Any]]
) -> None:
    assert ({} in security) == ("guest" in expected(address.name, method))
    assert any(security), "a way to sign in is named even where none is needed"


@pytest.mark.django_db
def test_a_token_gets_in_where_it_is_declared_and_nowhere_else() -> None:
    """By whoever may: what is closed to tokens is closed to one with every right."""
    world, wrong, closed = made_world(), [], 0
    owner, moderator = world.people["owner"], world.people["moderator"]
    assert owner is not None and moderator is not None
    tokens = {"owner": made_token(owner, "read", "submit"), "moderator": made_token(moderator, *SCOPES)}
    for address, method, security in OPERATIONS:
        may = expected(address.name, method)
        if "guest" in may:
            continue
        role = "owner" if "owner" in may else "moderator"
        status = asked(tokens[role], method, world.path(address))
        declared = {"token": []} in security
        closed += not declared
        if (status not in (401, 403)) != declared or status >= 500:
            wrong.append(f"{role} {method} {address.name}: {status}, declared {security}")
    assert not wrong, "\n".join(wrong)
    assert closed


@pytest.mark.django_db
def test_a_token_to_moderate_goes_no_further_than_the_second_factor() -> None:
    """One that was made while there was one."""
    world, tried = made_world(), 0
    moderator = world.people["moderator"]
    assert moderator is not None
    token = made_token(moderator, *SCOPES)
    Authenticator.objects.filter(user=moderator).delete()
    for address, method, _security in OPERATIONS:
        if expected(address.name, method) == {"moderator"}:
            assert asked(token, method, world.path(address)) == 403, address.name
            tried += 1
    assert tried > 5


def asked(token: str, method: str, path: str) -> int:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=token)
    return int(getattr(client, method)(path, {} if method != "get" else None).status_code)
