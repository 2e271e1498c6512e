"""Mail servers that answer as a test says."""

from __future__ import annotations

import socket
import socketserver
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, ClassVar

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

SCRIPTED = f"{__name__}.Scripted"
SMTP = "django.core.mail.backends.smtp.EmailBackend"


class Scripted(BaseEmailBackend):
    """Takes mail, or raises what stands next in `answers`; what stands for a recipient goes first."""

    taken: ClassVar[list[EmailMessage]] = []
    answers: ClassVar[list[Exception | None]] = []
    never: ClassVar[dict[str, Exception]] = {}

    @classmethod
    def begin(cls) -> None:
        cls.taken.clear(), cls.answers.clear(), cls.never.clear()

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for message in email_messages:
            error = self.never.get(message.to[0]) or (self.answers.pop(0) if self.answers else None)
            if error is not None:
                raise error
            self.taken.append(message)
        return len(email_messages)


class Conversation(socketserver.StreamRequestHandler):
    """As much of RFC 5321 as a mail needs; `server.heard` is what was said, `server.taken` the messages."""

    def handle(self) -> None:
        self.say("220 at your service")
        while line := self.rfile.readline().decode().strip():
            self.server.heard.append(line)  # type: ignore[attr-defined]
            word = line.split()[0].upper()
            if word == "DATA":
                self.say("354 go on")
                text = b"".join(iter(self.rfile.readline, b".\r\n")).decode()
                self.server.taken.append(text)  # type: ignore[attr-defined]
            self.say("221 bye" if word == "QUIT" else "250 done")

    def say(self, text: str) -> None:
        self.wfile.write(text.encode() + b"\r\n")


@contextmanager
def taking_server() -> Iterator[Any]:
    """It takes every mail: `server_address`, `heard`, `taken`."""
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Conversation) as server:
        server.heard, server.taken = [], []  # type: ignore[attr-defined]
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()


@contextmanager
def silent_server() -> Iterator[int]:
    """Its port: it takes the connection and then says nothing."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def closed_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
    return port


def smtp(settings: Any, port: int) -> None:
    settings.BENCHQUORUM_EMAIL_BACKEND = SMTP
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", port, 0.3
