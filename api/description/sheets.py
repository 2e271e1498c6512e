"""JSON schemas and examples of bench sheets, of findings, and of what a check answers."""

from __future__ import annotations

from api.description.bodies import YES_NO, Plain, blank_or, record, rows, text, word
from api.description.charts import COUNT, PLACE, SHARE, TEXT, many, thing
from api.description.examples import DESIGN_ID, SHEET_ID
from registry.models.catalogue import SourceClass
from registry.models.sheets import HeldGood, ReadAt, SheetVersionPurpose
from registry.services.sheet_body import MOST_READINGS
from registry.services.sheet_bulk import MOST_SHEETS

CLIENT_ID = "8c2b5a1e-95c3-4f62-8a50-53c7a9c5a6f0"
ID: Plain = {"type": "string", "format": "uuid"}
ID_OR_NONE: Plain = {"type": ["string", "null"], "format": "uuid"}
ID_OR_BLANK: Plain = blank_or("uuid")
OHM: Plain = {"type": ["number", "string", "null"], "description": "Ω, or as written on the meter: 20M"}
FIGURE: Plain = {"type": ["number", "string", "null"]}

READING: Plain = record(
    ["position", "pin", "against"],
    position={"type": "string", "minLength": 1, "maxLength": 40},
    pin={"type": "string", "minLength": 1, "maxLength": 40},
    against={"type": "string", "minLength": 1, "maxLength": 40},
    reading={
        "type": ["string", "number", "null"],
        "description": "As the meter showed it: 0.4, 1.2k, 4R7, 0.8 MΩ, OL, cont, 0.4…35; blank: not taken",
    },
    sweep={"type": ["integer", "null"], "minimum": 1, "maximum": 99, "default": 1},
    between=YES_NO,
)
METER: Plain = {
    "type": ["object", "null"],
    "properties": {
        "name": text(80),
        "limit_ohm": OHM,
        "lead_ohm": OHM,
        "apart_shows": text(20),
        "buzzer_limit_ohm": OHM,
    },
}
_FIELDS: dict[str, Plain] = {
    "client_id": {**ID_OR_BLANK, "description": "Made by the client; sent again it gets the first answer."},
    "design": text(200, needed=True, description="The design's id, or its name"),
    "name": text(200),
    "unit": record(
        ["key"],
        key=text(200, needed=True, description="Your own name of the physical switch"),
        tag_code=text(80),
        date_code=text(40),
        part_number=text(80),
    ),
    "purpose": word(SheetVersionPurpose.values, "known_good"),
    "held_good": word(HeldGood.values, "worked"),
    "source_class": word(SourceClass.values, "unknown"),
    "read_at": word(ReadAt.values, "bench"),
    "read_on": blank_or("date"),
    "distance_km": {"type": ["number", "string", "null"], "description": "On the unit"},
    "meter": METER,
    "measured_it_myself": {"type": "boolean", "const": True},
    "units_claimed": {"type": ["integer", "null"], "minimum": 1, "maximum": 999, "default": 1},
    "note": text(4000),
    "rereads": ID_OR_BLANK,
    "readings": rows(READING, least=1, most=MOST_READINGS),
    "second_pass": rows(READING, most=MOST_READINGS),
}
SHEET: Plain = record(["design", "unit", "measured_it_myself", "readings"], **_FIELDS)
PREVIEW: Plain = record(
    ["design", "unit", "readings"],
    **{name: shape for name, shape in _FIELDS.items() if name != "measured_it_myself"},
)
CHECK_SHEET: Plain = record(
    ["design", "readings"],
    **{name: _FIELDS[name] for name in _FIELDS if name not in ("measured_it_myself", "unit")},
    unit={"type": ["object", "null"]},
)
_AMENDING: dict[str, Plain] = {
    "on_version": {
        "type": "integer",
        "minimum": 1,
        "description": "The version that was on the screen; or send If-Match.",
    },
    "reason": text(300, needed=True, description="What was wrong"),
}
AMEND: Plain = record(["unit", "readings", "reason"], **{**_FIELDS, **_AMENDING})
PATCH: Plain = record(["reason"], **{**_FIELDS, **_AMENDING})
REASON: Plain = record(["reason"], reason=text(300, needed=True))
BULK: Plain = record(
    ["submissions"], submissions=rows({"description": "A bench sheet"}, least=1, most=MOST_SHEETS)
)
IDENTIFY: Plain = record(
    ["readings"],
    readings=rows(READING, least=1, most=2000),
    as_read={"type": ["boolean", "null"], "description": "true: the pins' numbers are known to be right"},
)

BULK_ANSWER: Plain = thing(
    stored=COUNT,
    known={**COUNT, "description": "Sent before with the same body; nothing was added"},
    refused=COUNT,
    results=many(
        {
            "type": "object",
            "properties": {
                "index": COUNT,
                "status": {"type": "integer", "enum": [200, 201, 400, 409, 429]},
                "submission": ID_OR_NONE,
                "problem": {"type": ["object", "null"]},
            },
            "required": ["index", "status", "submission", "problem"],
        }
    ),
)
CHECK_ANSWER: Plain = thing(
    submission=TEXT,
    design=TEXT,
    variant={"type": ["string", "null"]},
    verdict={"type": "string", "enum": ["good", "faulty", "undecided"]},
    p_good=SHARE,
    causes=many(
        {
            "type": "object",
            "properties": {
                "cause": TEXT,
                "pins": many(TEXT),
                "positions": many(TEXT),
                "p": SHARE,
                "group": COUNT,
                "message": TEXT,
            },
            "required": ["cause", "pins", "positions", "p", "group", "message"],
        }
    ),
    next=many({"type": "object", "properties": {**PLACE, "bits": {"type": "number"}}}),
    unlike=many({"type": "object", "properties": PLACE}),
)
IDENTIFY_ANSWER: Plain = thing(
    candidates=many(
        thing(
            design=TEXT,
            variant={"type": ["string", "null"]},
            p=SHARE,
            pins={"type": "object", "additionalProperties": TEXT},
        )
    ),
)
PREVIEW_ANSWER: Plain = thing(
    readings=many({"type": "object", "properties": PLACE}),
    warnings=many({"type": "object"}),
    comparison={"type": ["object", "null"]},
    adds={"type": "object"},
)

READINGS_EXAMPLE: list[Plain] = [
    {"position": "P", "pin": "2", "against": "1", "reading": "0.4"},
    {"position": "P", "pin": "3", "against": "1", "reading": "OL"},
    {"position": "R", "pin": "2", "against": "1", "reading": "OL"},
    {"position": "R", "pin": "3", "against": "1", "reading": "cont"},
]
SHEET_BODY: Plain = {
    "client_id": CLIENT_ID,
    "design": DESIGN_ID,
    "unit": {"key": "7", "date_code": "0423"},
    "purpose": "known_good",
    "held_good": "worked",
    "source_class": "original",
    "read_at": "bench",
    "meter": {"name": "bench meter", "limit_ohm": 2e7, "lead_ohm": 0.2, "apart_shows": "OL"},
    "measured_it_myself": True,
    "readings": READINGS_EXAMPLE,
}
CHECK_BODY: Plain = {"design": DESIGN_ID, "readings": READINGS_EXAMPLE}
AMEND_BODY: Plain = {**SHEET_BODY, "on_version": 1, "reason": "pin 3 in R had slipped"}
PATCH_BODY: Plain = {
    "on_version": 1,
    "reason": "the unit is an equivalent part",
    "source_class": "equivalent",
}
SHEET_LINE: Plain = {
    "submission": SHEET_ID,
    "origin": "fleet-workshops",
    "design": DESIGN_ID,
    "design_name": "Sweeper selector, five pins",
    "contributor": "c-0f3a9be2d1",
    "unit": "a1f7a0de-6f0b-43f6-8a53-39c94a1e9b5d",
    "date_code": "0423",
    "version": 1,
    "sent": "2026-11-20T09:12:00Z",
    "amended": "2026-11-20T09:12:00Z",
    "withdrawn": None,
    "purpose": "known_good",
    "held_good": "worked",
    "source_class": "original",
    "read_at": "bench",
    "read_on": None,
    "distance_km": None,
    "units_claimed": 1,
    "rereads": None,
    "licence": "CC-BY-SA-4.0",
    "finding": {"finding": "fits", "p": 0.98},
}
OWN_LINE: Plain = {
    **SHEET_LINE,
    "name": f"sheet-{CLIENT_ID}",
    "unit_key": "7",
    "client_id": CLIENT_ID,
    "readings": 4,
}


def _read(row: Plain) -> Plain:
    value = row["reading"] == "0.4"
    kind = {"0.4": "value", "OL": "over_limit", "cont": "continuity"}[row["reading"]]
    figure = 0.4 if value else None
    return {
        **row,
        "sweep": 1,
        "between": False,
        "first_pass": True,
        "kind": kind,
        "low_ohm": figure,
        "high_ohm": figure,
        "limit_ohm": 2e7,
        "lead_ohm": 0.2,
    }


SHEET_EXAMPLE: Plain = {**SHEET_LINE, "readings": [_read(row) for row in READINGS_EXAMPLE], "own": None}
FINDING_EXAMPLE: Plain = {
    "finding": "slip",
    "p": 0.94,
    "submission": SHEET_ID,
    "design": DESIGN_ID,
    "contributor": "c-0f3a9be2d1",
    "revision": 3,
    "revision_state": "published",
    "variant": "a",
    "also": [{"finding": "fits", "p": 0.04}],
    "cells": [{"position": "R", "pin": "3", "against": "1", "between": False}],
    "message": "Fits but for one reading (94 %). Read pin 3 in R again.",
}
BULK_EXAMPLE: Plain = {
    "stored": 1,
    "known": 0,
    "refused": 1,
    "results": [
        {"index": 0, "status": 201, "submission": SHEET_ID, "problem": None},
        {
            "index": 1,
            "status": 400,
            "submission": None,
            "problem": {
                "type": "urn:benchquorum:problem:reading_unreadable",
                "title": "Bad Request",
                "status": 400,
                "code": "reading_unreadable",
                "detail": "“1k2k” is not a resistance.",
                "errors": [
                    {
                        "code": "reading_unreadable",
                        "pointer": "/submissions/1/readings/0/reading",
                        "detail": "“1k2k” is not a resistance.",
                        "advice": "Write 1.2k, 4R7, 0.8 MΩ or OL.",
                    }
                ],
            },
        },
    ],
}
CHECK_EXAMPLE: Plain = {
    "submission": CLIENT_ID,
    "design": "Sweeper selector, five pins",
    "variant": "a",
    "verdict": "faulty",
    "p_good": 0.01,
    "causes": [
        {
            "cause": "line_open",
            "pins": ["3"],
            "positions": [],
            "p": 0.95,
            "group": 1,
            "message": "Line 3 is open in every position.",
        }
    ],
    "next": [{"position": "D", "pin": "3", "against": "1", "bits": 0.41}],
    "unlike": [{"position": "R", "pin": "3", "against": "1", "expected": "closed", "read": "OL"}],
}
IDENTIFY_EXAMPLE: Plain = {
    "candidates": [
        {"design": "Sweeper selector, five pins", "variant": "a", "p": 0.93, "pins": {"2": "4", "3": "2"}}
    ]
}
PREVIEW_EXAMPLE: Plain = {
    "readings": [{"position": "P", "pin": "2", "against": "1", "between": False}],
    "warnings": [],
    "comparison": None,
    "adds": {"units": 4, "contributors": 2, "units_needed": 1, "contributors_needed": 1},
}
IDENTIFY_BODY: Plain = {"readings": READINGS_EXAMPLE, "as_read": False}
