"""Closed by default: every address has a rule for every method, and the rules are kept."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, get_resolver
from rest_framework.test import APIClient

from api.permissions import ByRule, Rule
from api.urls import urlpatterns
from api.views.base import ApiView
from registry.models import User
from registry.permissions import RULES
from tests.api.made import made_token, made_user

METHODS = ("get", "post", "put", "patch", "delete")
NOBODY = "00000000-0000-4000-8000-000000000000"  # an id that nothing has
SAMPLE = {
    "design": NOBODY,
    "submission": NOBODY,
    "dispute": NOBODY,
    "decision": NOBODY,
    "case": NOBODY,
    "job": NOBODY,
    "kind": "sheet",
    "number": "1",
    "token": "bq_000",
}


def addresses() -> list[tuple[str, Any]]:
    found = []
    for entry in urlpatterns:
        view = entry.callback.view_class
        path = "/api/v1/" + str(entry.pattern)
        for name in entry.pattern.converters:
            path = path.replace(f"<{_converter(path, name)}{name}>", SAMPLE.get(name, NOBODY))
        found.append((path, view))
    return found


def _converter(path: str, name: str) -> str:
    start = path.index(f"{name}>")
    return path[path.rindex("<", 0, start) + 1 : start]


CASES = [
    pytest.param(path, view, method, id=f"{method} {path}")
    for path, view in addresses()
    for method in METHODS
    if hasattr(view, method) and not path.endswith("$")
]


def test_every_address_under_api_is_one_of_ours() -> None:
    def walk(entries: Any, at: str = "") -> list[tuple[str, Any]]:
        found = []
        for entry in entries:
            here = at + str(entry.pattern)
            if isinstance(entry, URLResolver):
                found += walk(entry.url_patterns, here)
            elif isinstance(entry, URLPattern) and here.startswith("api/"):
                found.append((here, entry.callback))
        return found

    known = {entry.callback for entry in urlpatterns}
    assert len(known) > 10
    assert {callback for _path, callback in walk(get_resolver().url_patterns)} == known


@pytest.mark.parametrize(("path", "view"), addresses())
def test_each_method_has_a_named_rule(path: str, view: type[ApiView]) -> None:
    assert issubclass(view, ApiView)
    assert view.permission_classes == [ByRule]
    offered = {method.upper() for method in METHODS if hasattr(view, method)}
    assert set(view.rules) == offered
    for rule in view.rules.values():
        assert isinstance(rule, Rule)
        assert rule.action is None or rule.action in RULES


@pytest.mark.parametrize(("path", "view", "method"), CASES)
def test_a_guest_gets_only_where_the_rule_is_open(
    guest: APIClient, db: None, path: str, view: type[ApiView], method: str
) -> None:
    answer = getattr(guest, method)(path, {} if method != "get" else None)
    rule = view.rules[method.upper()]
    if rule.action is None:
        assert answer.status_code not in (401, 403)
    else:
        assert answer.status_code == 401
        assert json.loads(answer.content)["status"] == 401


@pytest.mark.parametrize(("path", "view", "method"), CASES)
def test_a_token_gets_only_where_it_has_the_right(
    reader: User, path: str, view: type[ApiView], method: str
) -> None:
    rule = view.rules[method.upper()]
    for scope in ("read", "submit"):
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=made_token(reader, scope))
        answer = getattr(client, method)(path, {} if method != "get" else None)
        allowed = rule.action is None or (rule.scope == scope and rule.action != "moderate")
        assert (answer.status_code not in (401, 403)) == allowed, (scope, answer.content)


@pytest.mark.parametrize(("path", "view", "method"), CASES)
def test_no_account_is_let_in_once_it_is_closed(
    path: str, view: type[ApiView], method: str, db: None
) -> None:
    user = made_user("gone")
    header = made_token(user, "read", "submit")
    User.objects.filter(pk=user.pk).update(is_active=False)
    answer = getattr(APIClient(), method)(path, headers={"Authorization": header})
    expects_token = any(c.__name__ == "TokenAuthentication" for c in view.authentication_classes)
    assert answer.status_code == 401 or not expects_token
