"""A program that hears webhooks, and changes to tell it of."""

from __future__ import annotations

from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from django.utils import timezone

from registry.models import User, Webhook, WebhookDelivery
from registry.services.changes import change_note, changes_number
from registry.services.webhooks.keeping import webhook_make


class Receiver(ThreadingHTTPServer):
    """A shop's own program; `answers` are what it says next, then 200."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Hook)
        self.heard: list[tuple[dict[str, str], bytes]] = []
        self.answers: list[int] = []

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/hook"


class _Hook(BaseHTTPRequestHandler):
    server: Receiver

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.heard.append((dict(self.headers), body))
        self.send_response(self.server.answers.pop(0) if self.server.answers else 200)
        self.send_header("Location", self.server.url)  # heeded by nobody
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        pass


def made(user: User, url: str, **more: Any) -> tuple[Webhook, str]:
    return webhook_make(by=user, body={"url": url, **more})


def noted(n: int = 1, kind: str = "chart_published", **payload: Any) -> None:
    for k in range(n):
        change_note(kind=kind, design=None, payload={"n": k, **payload})
    changes_number()


def later() -> None:
    waiting = WebhookDelivery.objects.filter(state=WebhookDelivery.State.WAITING)
    waiting.update(next_at=timezone.now() - timedelta(seconds=1))
