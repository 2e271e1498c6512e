"""JSON schemas and examples of webhooks."""

from __future__ import annotations

from typing import Any

from api.description.bodies import blank_or, record, rows, text
from registry.models.changes import ChangeKind

LIST = {
    "type": "object",
    "properties": {"results": {"type": "array", "items": {"type": "object"}}},
    "required": ["results"],
}
BODY = record(
    ["url"],
    url=text(500, needed=True, description="https, public, without a name or password in it"),
    kinds=rows({"type": "string", "enum": list(ChangeKind.values)}, most=50),
    design=blank_or("uuid"),
)
BODY_EXAMPLE = {"url": "https://shop.example/benchquorum", "kinds": ["chart_published", "chart_withdrawn"]}
REPLAY = record(["since"], since={"type": "integer", "minimum": 0, "maximum": 2**53})
LINE: dict[str, Any] = {
    "webhook": "7a0d1cf0-3f51-4c57-9a7b-24dbe2f0b0aa",
    "url": "https://shop.example/benchquorum",
    "kinds": ["chart_published", "chart_withdrawn"],
    "design": None,
    "made": "2026-11-20T09:30:00Z",
    "paused": None,
    "read_up_to": 1041,
    "waiting": 0,
    "dead": 1,
}
MADE = {**LINE, "secret": "whsec_6wkKp0E3o8m0vP1mEwq3lq0yV5b0yDqg7mZ5bY1m3sE="}
DELIVERY: dict[str, Any] = {
    "delivery": "d3a7c1b2-0a5e-4f5c-8d53-6c1f7b9e2a10",
    "first": 1040,
    "last": 1041,
    "state": "waiting",
    "tries": 2,
    "made": "2026-11-20T09:30:00Z",
    "tried": "2026-11-20T09:31:10Z",
    "next_try": "2026-11-20T09:36:10Z",
    "status": 503,
    "error": "",
}
