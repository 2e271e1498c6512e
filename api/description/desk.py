"""JSON schemas and examples of disputes, decisions and cases."""

from __future__ import annotations

from api.description.bodies import YES_NO, Plain, record, text
from api.description.examples import DECISION_ID, DESIGN_ID, DISPUTE_ID, SHEET_ID
from registry.models.desk import CaseKind

TARGETS = ["sheet", "cell", "design", "revision", "part_number", "fact"]
ID: Plain = {"type": "string", "format": "uuid"}

DISPUTE_BODY: Plain = record(
    ["target_kind", "target", "reason"],
    target_kind={"type": "string", "enum": TARGETS},
    target={**ID, "description": "The id of the sheet, the design (of a cell too), the revision…"},
    cell={
        "type": ["object", "null"],
        "properties": {
            "position": {"type": "string"},
            "pin": {"type": "string"},
            "against": {"type": "string"},
            "between": YES_NO,
        },
        "description": "For a cell only",
    },
    reason=text(4000, needed=True),
)
MESSAGE_BODY: Plain = record(["text"], text=text(4000, needed=True))
DECISION_BODY: Plain = record(
    ["kind", "case", "act", "reason", "seen"],
    kind={"type": "string", "enum": list(CaseKind.values)},
    case=ID,
    act=text(40, needed=True, description="One of the case's acts"),
    reason=text(4000, needed=True),
    seen=text(200, needed=True, description="From the case: a decision on an older state is refused"),
    asked=text(200, description="What the act asks for besides"),
)
UNDO_BODY: Plain = record(["reason"], reason=text(4000, needed=True))

MESSAGE: Plain = {
    "message": "7d4c0f1e-1a44-4f1b-a0c2-0a8e7c5d9b21",
    "at": "2026-11-21T08:00:00Z",
    "by": "c-5d0e1f7a2b",
    "text": "Read it again with other leads: 0.4 Ω.",
}
DISPUTE_LINE: Plain = {
    "dispute": DISPUTE_ID,
    "target_kind": "cell",
    "target": DESIGN_ID,
    "cell": {"position": "R", "between": False, "pin": "4", "against": "1"},
    "state": "open",
    "opened": "2026-11-20T10:00:00Z",
    "opened_by": "c-0f3a9be2d1",
    "reply_until": "2026-11-27T10:00:00Z",
    "reason": "Two of our units read open here.",
}
DISPUTE: Plain = {**DISPUTE_LINE, "messages": [MESSAGE]}
DECISION: Plain = {
    "decision": DECISION_ID,
    "kind": "set_aside",
    "target_kind": "sheet",
    "target": SHEET_ID,
    "cell": None,
    "payload": {},
    "reason": "Leads were worn, by the contributor's own word.",
    "state": "in_force",
    "needs_second": False,
    "made": "2026-11-21T09:00:00Z",
    "effective": "2026-11-21T09:00:00Z",
    "undone": None,
    "dispute": None,
}
CASE_LINE: Plain = {
    "kind": "sheet",
    "case": SHEET_ID,
    "design": DESIGN_ID,
    "word": "mirrored_pins",
    "weight": 42.0,
    "since": "2026-11-20T09:12:00Z",
    "claimed_by": None,
}
CASE: Plain = {
    "kind": "sheet",
    "case": SHEET_ID,
    "target_kind": "sheet",
    "target": SHEET_ID,
    "design": DESIGN_ID,
    "says": "Fits once pins are numbered from the other face (98 %).",
    "barred": False,
    "seen": "b1946ac92492d234",
    "acts": [{"act": "set_aside", "label": "Set it aside", "kind": "set_aside", "asks": ""}],
    "disputes": [],
    "history": [DECISION],
}
EXAMPLE_DISPUTE_BODY: Plain = {
    "target_kind": "cell",
    "target": DESIGN_ID,
    "cell": {"position": "R", "pin": "4", "against": "1"},
    "reason": "Two of our units read open here.",
}
EXAMPLE_DECISION_BODY: Plain = {
    "kind": "sheet",
    "case": SHEET_ID,
    "act": "set_aside",
    "reason": "Leads were worn, by the contributor's own word.",
    "seen": "b1946ac92492d234",
}
