"""JSON schemas and examples of files sent in, and of work that is done after the answer."""

from __future__ import annotations

from typing import Any

from api.description.bodies import YES_NO, blank_or, record, word
from api.description.charts import COUNT, many, thing
from api.description.examples import DESIGN_ID
from registry.models.work import WorkKind, WorkState
from registry.services.imports.files import MOST_CONTENT, MOST_ROWS

FAULT = {"type": "object"}
WORK = thing(
    work={"type": "string", "format": "uuid"},
    kind={"type": "string", "enum": list(WorkKind.values)},
    state={"type": "string", "enum": list(WorkState.values)},
    asked={"type": "string", "format": "date-time"},
    started={"type": ["string", "null"], "format": "date-time"},
    ended={"type": ["string", "null"], "format": "date-time"},
    answer={
        "type": ["object", "null"],
        "description": "What came of it; where refused: `errors`, as in a problem",
    },
)
LINE: dict[str, Any] = {
    "work": "4a3c9f1e-5f0a-4d5b-9f55-3d1d0e8a7c21",
    "kind": "import",
    "state": "done",
    "asked": "2026-11-20T09:30:00Z",
    "started": "2026-11-20T09:30:01Z",
    "ended": "2026-11-20T09:30:04Z",
    "answer": {"sheets_new": 12, "sheets_known": 0, "readings_new": 480, "designs_new": [], "warnings": []},
}
BODY = record(
    ["content"],
    content={
        "type": "string",
        "minLength": 1,
        "pattern": "\\S",
        "description": f"At most {MOST_CONTENT} signs",
    },
    encoding=word(["text", "base64"], "text"),
    design={
        **blank_or("uuid"),
        "description": "Leave it out for a tidy file, which names its designs itself",
    },
    columns={
        "type": ["object", "null"],
        "additionalProperties": {"type": "string"},
        "description": "Head → role: unit, submission, position, pin, against, reading, sweep, between, "
        "class, held_good, limit_ohm, lead_ohm, pin:4 (readings of pin 4), pin:2/3 (of this pair), ignore",
    },
    head_row={
        "type": ["integer", "null"],
        "minimum": 0,
        "maximum": MOST_ROWS,
        "description": "Row in which the heads stand, from 1; 0 or left out: where they seem to",
    },
    measured_it_myself=YES_NO,
)
BODY_EXAMPLE = {
    "design": DESIGN_ID,
    "content": "Switch,Gear,Pin 2,Pin 3\nshelf 3,P,0.4,OL\nshelf 3,R,OL,0.5\n",
    "columns": {"Switch": "unit", "Gear": "position", "Pin 2": "pin:2", "Pin 3": "pin:3"},
    "measured_it_myself": True,
}
CELL = thing(
    text={"type": "string"},
    fate={"type": "string", "enum": ["taken", "not_taken", "left_out", "wrong"]},
    says={"type": "string", "description": "How it is read, or why it can't be"},
)
PREVIEW = thing(
    head_row=COUNT,
    columns=many(thing(head={"type": "string"}, role={"type": "string"})),
    rows=many(thing(row=COUNT, cells=many(CELL))),
    more_rows=COUNT,
    sheets_new=COUNT,
    sheets_known=COUNT,
    readings_new=COUNT,
    designs_new=many({"type": "string"}),
    warnings=many({"type": "string"}),
    errors=many(FAULT),
    more=COUNT,
)
PREVIEW_EXAMPLE: dict[str, Any] = {
    "head_row": 1,
    "columns": [{"head": "Switch", "role": "unit"}, {"head": "Pin 2", "role": "pin:2"}],
    "rows": [
        {
            "row": 2,
            "cells": [
                {"text": "shelf 3", "fate": "taken", "says": ""},
                {"text": "0.4", "fate": "taken", "says": "0.4 Ω"},
            ],
        }
    ],
    "more_rows": 0,
    "sheets_new": 1,
    "sheets_known": 0,
    "readings_new": 4,
    "designs_new": [],
    "warnings": [],
    "errors": [],
    "more": 0,
}
