"""A copy says on every page whose it is and of when, and sends whoever would change something there."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from rest_framework.test import APIClient

from registry.models import Design, MirrorSource
from registry.services.mirrors.following import pull
from tests.registry.moderation.made import account
from tests.registry.packages.test_pulling import URL, registry

pytestmark = pytest.mark.django_db


@pytest.fixture
def mirrored() -> Design:
    pull(URL, fetcher=registry())
    return Design.objects.order_by("name")[0]


@pytest.mark.parametrize("path", ["/", "/designs/", "/about/", "/designs/{design}/"])
def test_every_page_says_whose_copy_it_is_and_of_when(client: Client, mirrored: Design, path: str) -> None:
    text = client.get(path.format(design=mirrored.uuid)).content.decode()
    year = MirrorSource.objects.get().pulled_at.year
    assert f'Read-only copy of <a href="{URL}">' in text and f"{year}, " in text


def test_a_registry_of_its_own_says_nothing_of_copies(client: Client) -> None:
    assert b"Read-only copy" not in client.get("/about/").content


def test_a_bench_sheet_leads_there_before_anybody_signs_in_or_types(client: Client, mirrored: Design) -> None:
    answer = client.get(f"/designs/{mirrored.uuid}/bench/")
    text = answer.content.decode()
    assert answer.status_code == 403
    assert "do it there" in text
    assert f'href="{URL}">Go to' in text


@pytest.mark.parametrize("signed_in", [True, False])
def test_api_refuses_sheets_with_the_address_whoever_asks(mirrored: Design, signed_in: bool) -> None:
    client = APIClient()
    if signed_in:
        client.force_authenticate(account("reader"))
    answer = client.post("/api/v1/submissions/", {"design": str(mirrored.uuid)}, format="json")
    problem = json.loads(answer.content)
    assert (answer.status_code, problem["code"], problem["registry"]) == (403, "mirror_read_only", URL)
    assert URL in problem["detail"] and answer["Content-Type"] == "application/problem+json"


def test_what_is_ones_own_can_still_be_read(mirrored: Design) -> None:
    client = APIClient()
    client.force_authenticate(account("reader"))
    assert client.get("/api/v1/account/").status_code == 200
