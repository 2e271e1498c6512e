"""What every answer tells a browser, whatever is asked for."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from PIL import Image

from registry.services.pictures import picture_add
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_revision, made_user, sheet_body
from tests.registry.moderation.made import account

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.django_db
ADDRESSES = ["/", "/designs/", "/nowhere", "/account/login/", "/health/live", "/health/ready", "/metrics",
             "/api/v1/designs/", "/api/v1/nowhere"]  # fmt: skip
SCRIPT = "/static/benchquorum/vendor/htmx/htmx.min.js"
FILES = [
    SCRIPT,
    "/static/benchquorum/icon.svg",
    "/static/benchquorum/style.css",
    "/static/nowhere.js",
    "/sw.js",
]
OWN = ["/account/own/", "/account/login/", "/sheets/", "/sheets/own/", "/notices/", "/jobs/", "/fleet/",
       "/desk/", "/desk/log/"]  # fmt: skip


def holds(answer: Any) -> bool:
    """Also where it is no page at all, and a browser is led there."""
    policy = answer["Content-Security-Policy"].split("; ")
    if answer.streaming:
        answer.close()
    own = {"object-src 'none'", "script-src 'self'"}
    bare = {"default-src 'none'", "sandbox"}  # of a drawing or a table: nothing at all
    return {"base-uri 'none'", "frame-ancestors 'none'"} <= set(policy) and (
        own <= set(policy) or bare <= set(policy)
    )


@pytest.mark.parametrize("address", [*ADDRESSES, *FILES])
def test_no_answer_can_be_made_into_another_page(client: Client, address: str) -> None:
    assert holds(client.get(address))


def test_nor_can_the_stored_bytes_of_a_chart(client: Client) -> None:
    design = made_design(made_user("proposer"))
    made_revision(design)
    asked = f"/api/v1/charts/{design.uuid}/"
    for accept in ("application/json", "text/csv", "image/svg+xml", "application/pdf"):
        answer = client.get(asked, headers={"Accept": accept})
        assert answer.status_code == 200 and holds(answer), accept


@pytest.mark.parametrize("address", OWN)
def test_what_is_somebody_s_own_is_kept_nowhere(client: Client, address: str) -> None:
    client.force_login(account("desk", moderator=True))
    answer = client.get(address)
    assert answer.status_code == (302 if "login" in address else 200)
    assert "no-store" in answer["Cache-Control"]


def test_a_picture_is_kept_nowhere(client: Client) -> None:
    reader = made_user()
    sheet = sheet_submit(by=reader, body=sheet_body(made_design(made_user("proposer"))))
    file = io.BytesIO()
    Image.new("RGB", (40, 30)).save(file, "JPEG")
    file.seek(0)
    picture = picture_add(by=reader, sheet=sheet, upload=file)
    client.force_login(reader)
    answer = client.get(f"/sheets/{sheet.uuid}/pictures/{picture.order}/")
    assert b"".join(answer).startswith(b"\xff\xd8") and "no-store" in answer["Cache-Control"]


def test_no_proxy_keeps_a_page_for_somebody_who_is_signed_in(client: Client) -> None:
    assert "Cache-Control" not in client.get("/designs/")
    client.force_login(made_user())
    assert client.get("/designs/")["Cache-Control"] == "private"


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
