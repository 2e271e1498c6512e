"""JSON schema and examples of the feed of changes."""

from __future__ import annotations

from api.description.charts import COUNT, Plain, many, thing
from api.description.examples import DESIGN_ID, DIGEST, as_text
from registry.models.changes import ChangeKind

CHANGE = thing(
    number={"type": "integer", "minimum": 1},
    change={"type": "string", "format": "uuid"},
    origin={"type": "string"},
    at={"type": "string", "format": "date-time"},
    kind={"type": "string", "enum": list(ChangeKind.values)},
    design={"type": ["string", "null"], "format": "uuid"},
    payload={"type": "object"},
)
CHANGES = thing(
    results=many(CHANGE),
    last={**COUNT, "description": "Send it as `since` the next time"},
    more={"type": "boolean", "description": "There are more already"},
    newest={**COUNT, "description": "The newest number of all"},
)
LINE: Plain = {
    "number": 1041,
    "change": "4bd5a5a5-07a1-4c1e-8c5f-20c9d3a0e0f4",
    "origin": "fleet-workshops",
    "at": "2026-11-20T09:30:00Z",
    "kind": "chart_published",
    "design": DESIGN_ID,
    "payload": {
        "revision": 3,
        "digest": DIGEST,
        "content_sha256": DIGEST[::-1],
        "state": "published",
        "reason": "",
    },
}
EXAMPLE: Plain = {"results": [LINE], "last": 1041, "more": False, "newest": 1041}
ATOM = as_text(
    "Feed",
    "application/atom+xml",
    '<?xml version="1.0" encoding="utf-8"?><feed xmlns="http://www.w3.org/2005/Atom">…</feed>',
)
