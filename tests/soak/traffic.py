"""Readers, checkers and senders: each a thread with a connection of its own that behaves as a phone does."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
import uuid
from dataclasses import dataclass, field
from typing import Any

from tests.soak.fill import PINS, POSITIONS

CHECKS, SENDS = 0.04, 0.01  # of all requests; the others read


def sheet_body(design: str, chance: random.Random) -> dict[str, Any]:
    readings = [
        {"position": p, "pin": pin, "against": "1", "reading": chance.choice(["0.4", "OL"])}
        for p in POSITIONS
        for pin in PINS
    ]
    return {
        "client_id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
        "design": design,
        "unit": {"key": f"u{chance.getrandbits(40)}"},
        "measured_it_myself": True,
        "readings": readings,
    }


@dataclass
class Traffic:
    """What came of it: seconds of each kind of request, client ids acknowledged, errors."""

    port: int
    designs: list[str]
    tokens: list[str]
    seed: int = 0  # client ids come of it: another for each run
    pause: float = 0.0
    think: float = 0.0  # s that a reader looks at an answer before asking again, on average
    patient: bool = False  # a sender tries again until there is a receipt; else each failure is an error
    seconds: dict[str, list[float]] = field(
        default_factory=lambda: {"chart": [], "bare": [], "check": [], "sheet": []}
    )
    acknowledged: dict[str, str] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)
    ended: threading.Event = field(default_factory=threading.Event)

    def reader(self, seed: int) -> None:
        """95 of 100 requests read, 4 check, 1 sends.

        What is read is a chart or a bare view, by lot: the second of two requests in a row finds connection
        and processor awake, so neither may always be the second.
        """
        chance = random.Random(1000 * self.seed + seed)
        while not self.ended.is_set():
            dice, design = chance.random(), chance.choice(self.designs)
            if dice < SENDS:
                self.send(chance, self.tokens[seed % len(self.tokens)])
            elif dice < SENDS + CHECKS:
                self.check(chance)
            elif chance.random() < 0.5:
                self.request("chart", "GET", f"/api/v1/charts/{design}/", None, {200})
            else:
                self.request("bare", "GET", "/health/live", None, {200})
            if self.think:
                time.sleep(chance.expovariate(1 / self.think))
        _connection(self.port).close()

    def shares(self) -> dict[str, float]:
        """How much of all requests that were answered read, checked and sent."""
        counts = {kind: len(seconds) for kind, seconds in self.seconds.items()}
        total = sum(counts.values()) or 1
        reads = counts["chart"] + counts["bare"]
        return {"read": reads / total, "check": counts["check"] / total, "sheet": counts["sheet"] / total}

    def checker(self, seed: int) -> None:
        chance = random.Random(1000 * self.seed + seed)
        while not self.ended.is_set():
            self.check(chance)
            time.sleep(self.pause)
        _connection(self.port).close()

    def check(self, chance: random.Random) -> None:
        body = sheet_body(chance.choice(self.designs), chance)
        given = {**body, "purpose": "suspect", "held_good": "no"}
        self.request("check", "POST", "/api/v1/check/", given, {200})

    def sender(self, seed: int) -> None:
        chance = random.Random(1000 * self.seed + seed)
        while not self.ended.is_set():
            self.send(chance, self.tokens[seed % len(self.tokens)])
            time.sleep(self.pause)
        _connection(self.port).close()

    def send(self, chance: random.Random, token: str) -> None:
        body = sheet_body(chance.choice(self.designs), chance)
        given = {"Authorization": f"Token {token}"}
        while True:
            answer = self.request("sheet", "POST", "/api/v1/submissions/", body, {200, 201}, given)
            if answer is not None:
                self.acknowledged[body["client_id"]] = body["design"]
                return
            if not self.patient or self.ended.is_set():
                return
            time.sleep(0.2)

    def request(
        self,
        kind: str,
        method: str,
        path: str,
        body: Any,
        fine: set[int],
        headers: dict[str, str] | None = None,
    ) -> bytes | None:
        text = None if body is None else json.dumps(body)
        since = time.perf_counter()
        connection = _connection(self.port)
        try:
            given = {"Content-Type": "application/json", **(headers or {})}
            connection.request(method, path, text, given)
            answer = connection.getresponse()
            content = answer.read()
        except (OSError, http.client.HTTPException) as error:
            connection.close()
            self._failed(f"{method} {path}: {type(error).__name__}")
            return None
        self.seconds[kind].append(time.perf_counter() - since)
        if answer.status not in fine:
            self._failed(f"{method} {path}: {answer.status} {content[:300]!r}")
            return None
        return content

    def _failed(self, what: str) -> None:
        if not self.patient:
            self.errors.append(what)


_own = threading.local()


def _connection(port: int) -> http.client.HTTPConnection:
    if getattr(_own, "port", None) != port:
        _own.port, _own.connection = port, http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    return _own.connection  # type: ignore[no-any-return]


def run_threads(targets: list[Any]) -> list[threading.Thread]:
    threads = [threading.Thread(target=target, daemon=True) for target in targets]
    for thread in threads:
        thread.start()
    return threads
