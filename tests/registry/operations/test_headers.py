"""What every answer tells a browser, whatever is asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.test import Client

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.django_db
ADDRESSES = ["/", "/designs/", "/nowhere", "/account/login/", "/health/live", "/health/ready", "/metrics",
             "/api/v1/designs/", "/api/v1/nowhere"]  # fmt: skip
SCRIPT = "/static/benchquorum/vendor/htmx/htmx.min.js"


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_answer_can_be_made_into_another_page(client: Client, address: str) -> None:
    policy = client.get(address)["Content-Security-Policy"].split("; ")
    assert {"object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "script-src 'self'"} <= set(
        policy
    )


def test_no_page_has_a_base_of_its_own() -> None:
    assert [path.name for path in (ROOT / "templates").rglob("*.html") if "<base" in path.read_text()] == []


@pytest.mark.parametrize("address", [*ADDRESSES, SCRIPT])
def test_under_tls_a_browser_stays_with_it(client: Client, settings: Any, address: str) -> None:
    settings.SECURE_HSTS_SECONDS, settings.SECURE_HSTS_INCLUDE_SUBDOMAINS = 31_536_000, True
    answer = client.get(address, secure=True)
    assert answer["Strict-Transport-Security"].startswith("max-age=31536000; includeSubDomains")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    answer.close()
