"""Tokens: shown once, kept as a digest, scoped, ending, revoked at once; made in a session only."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone
from rest_framework.test import APIClient

from registry.errors import RegistryErrors
from registry.models import ApiToken, AuditEntry, User
from registry.services.tokens import MOST_TOKENS, token_make, token_revoke
from tests.api.made import made_moderator, made_token, made_user, said_again

TOKENS = "/api/v1/tokens/"
OWN = "/api/v1/submissions/"


@pytest.fixture
def session(reader: User) -> APIClient:
    client = APIClient()
    client.force_login(reader)
    said_again(client)
    return client


def test_the_secret_is_shown_once_and_kept_nowhere(session: APIClient) -> None:
    made = session.post(TOKENS, {"name": "tablet", "scopes": ["read"], "days": 7})
    assert made.status_code == 201 and made["Cache-Control"] == "no-store"
    secret = made.json()["secret"]
    assert secret not in session.get(TOKENS).content.decode()
    stored = ApiToken.objects.get()
    assert secret not in {str(value) for value in stored.__dict__.values()}
    assert stored.expiry is not None and stored.expiry - timezone.now() < timedelta(days=7, seconds=5)
    assert APIClient().get(OWN, headers={"Authorization": f"Token {secret}"}).status_code == 200
    assert APIClient().get(OWN, headers={"Authorization": f"Bearer {secret}"}).status_code == 200


def test_a_revoked_token_ends_at_once(session: APIClient) -> None:
    made = session.post(TOKENS, {"name": "tablet", "scopes": ["read"]}).json()
    assert session.delete(f"{TOKENS}{made['token']}/").status_code == 204
    answer = APIClient().get(OWN, headers={"Authorization": f"Token {made['secret']}"})
    assert answer.status_code == 401
    assert session.delete(f"{TOKENS}{made['token']}/").status_code == 404
    assert list(AuditEntry.objects.values_list("action", flat=True)) == ["token_make", "token_revoke"]


def test_an_expired_token_says_so(reader: User) -> None:
    header = made_token(reader, "read")
    ApiToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    answer = APIClient().get(OWN, headers={"Authorization": header})
    assert answer.status_code == 401 and "expired" in answer.json()["detail"]


def test_a_token_makes_and_ends_no_token(reader: User) -> None:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=made_token(reader, "read", "submit"))
    assert client.post(TOKENS, {"name": "x", "scopes": ["read"]}).status_code in (401, 403)
    assert client.get(TOKENS).status_code in (401, 403)


def test_nobody_revokes_anothers_token(reader: User) -> None:
    token, _secret = token_make(by=reader, name="tablet", scopes=["read"])
    assert not token_revoke(by=made_user("other"), key=token.token_key)
    assert ApiToken.objects.count() == 1


def test_only_a_moderator_gets_the_right_to_moderate(reader: User) -> None:
    with pytest.raises(PermissionDenied):
        token_make(by=reader, name="desk", scopes=["moderate"])
    token, _secret = token_make(by=made_moderator(), name="desk", scopes=["moderate"])
    assert token.scopes == ["moderate"]


@pytest.mark.parametrize(
    ("name", "scopes", "days", "code"),
    [
        ("", ["read"], 7, "token_name"),
        ("x", [], 7, "token_scopes"),
        ("x", ["rule"], 7, "token_scopes"),
        ("x", ["read"], 0, "token_days"),
        ("x", ["read"], 4000, "token_days"),
    ],
)
def test_a_token_needs_name_rights_and_end(
    reader: User, name: str, scopes: list[str], days: int, code: str
) -> None:
    with pytest.raises(RegistryErrors) as caught:
        token_make(by=reader, name=name, scopes=scopes, days=days)
    assert [error.code for error in caught.value] == [code]


def test_there_is_an_end_to_how_many(reader: User) -> None:
    for _ in range(MOST_TOKENS):
        token_make(by=reader, name="x", scopes=["read"])
    with pytest.raises(RegistryErrors):
        token_make(by=reader, name="x", scopes=["read"])


def test_use_is_noted_once_an_hour(reader: User) -> None:
    header = made_token(reader, "read")
    client = APIClient()
    client.get(OWN, headers={"Authorization": header})
    first = ApiToken.objects.get().last_used_at
    client.get(OWN, headers={"Authorization": header})
    assert first is not None and ApiToken.objects.get().last_used_at == first
