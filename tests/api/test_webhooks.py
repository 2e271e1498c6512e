"""Webhooks by API and page: one's own only, the secret once, dead letters there to be sent again."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from registry.models import User, Webhook, WebhookDelivery
from registry.services.webhooks import queue as webhook_queue
from tests.api.made import made_token, made_user

HERE = "/api/v1/webhooks/"
URL = "https://shop.example/hook"


@pytest.fixture(autouse=True)
def unsent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(webhook_queue, "_queue", lambda here=False: None)


def dead_letter(webhook: Webhook) -> WebhookDelivery:
    return WebhookDelivery.objects.create(
        webhook=webhook, first=1, last=2, body="{}", state="dead", tries=9, next_at=timezone.now(), status=500
    )


def test_the_secret_is_shown_once(bearer: APIClient) -> None:
    made = bearer.post(HERE, {"url": URL, "kinds": ["chart_published"]})
    assert made.status_code == 201 and made.json()["secret"].startswith("whsec_")
    assert made["Cache-Control"] == "no-store"
    one = bearer.get(f"{HERE}{made.json()['webhook']}/").json()
    (line,) = bearer.get(HERE).json()["results"]
    assert "secret" not in one and line == one and one["kinds"] == ["chart_published"]
    other = bearer.post(f"{HERE}{one['webhook']}/secret/").json()["secret"]
    assert other.startswith("whsec_") and other != made.json()["secret"]
    assert bearer.delete(f"{HERE}{one['webhook']}/").status_code == 204
    assert bearer.get(f"{HERE}{one['webhook']}/").status_code == 404


def test_every_fault_is_named(bearer: APIClient) -> None:
    answer = bearer.post(HERE, {"url": "https://10.0.0.1/", "kinds": ["gossip"], "design": "x"})
    assert answer.status_code == 400
    assert {e["pointer"] for e in answer.json()["errors"]} == {"/url", "/kinds", "/design"}


def test_dead_letters_are_seen_and_sent_again(bearer: APIClient, reader: User) -> None:
    webhook = bearer.post(HERE, {"url": URL}).json()["webhook"]
    letter = dead_letter(Webhook.objects.get(uuid=webhook))
    at = f"{HERE}{webhook}/deliveries/"
    (line,) = bearer.get(f"{at}?state=dead").json()["results"]
    assert (line["status"], line["tries"], line["next_try"]) == (500, 9, None)
    assert bearer.get(HERE).json()["results"][0]["dead"] == 1
    again = bearer.post(f"{at}{letter.uuid}/replay/").json()
    assert (again["state"], again["tries"]) == ("waiting", 0)
    assert bearer.post(f"{HERE}{webhook}/replay/", {"since": 0}).json()["read_up_to"] == 0
    assert bearer.post(f"{HERE}{webhook}/replay/", {"since": 10**6}).status_code == 409
    assert bearer.post(f"{HERE}{webhook}/replay/", {}).status_code == 400


def test_nobody_sees_or_ends_another_s(bearer: APIClient) -> None:
    webhook = bearer.post(HERE, {"url": URL}).json()["webhook"]
    other = APIClient()
    other.credentials(HTTP_AUTHORIZATION=made_token(made_user("other")))
    for ask in (other.get, other.delete):
        assert ask(f"{HERE}{webhook}/").status_code == 404
    assert other.post(f"{HERE}{webhook}/secret/").status_code == 404
    assert other.get(HERE).json()["results"] == [] and Webhook.objects.count() == 1


def test_the_page_does_the_same(reader: User, client: Client) -> None:
    client.force_login(reader)
    bad = client.post("/account/own/webhooks/", {"url": "https://127.0.0.1/"})
    assert bad.status_code == 400 and b"private network" in bad.content
    made = client.post("/account/own/webhooks/", {"url": URL, "kinds": ["chart_published"]})
    assert b"whsec_" in made.content and b"whsec_" not in client.get("/account/own/webhooks/").content
    webhook = Webhook.objects.get()
    letter = dead_letter(webhook)
    at = f"/account/own/webhooks/{webhook.uuid}/"
    assert b"given up" in client.get(at).content
    assert client.post(at, {"act": str(letter.uuid)}).status_code == 302
    letter.refresh_from_db()
    assert letter.state == "waiting"
    assert b"whsec_" in client.post(at, {"act": "secret"}).content
    assert client.post(at, {"act": "nonsense"}).status_code == 404
    assert client.post(at, {"act": "end"}).status_code == 302 and not Webhook.objects.exists()
